/**
 * The strip for whoever works by keyboard or listens: a grid of real cells beneath the picture, in which one at a
 * time has the focus (ARIA Authoring Practices, grid). The picture rings the one that has it.
 */

import { effect } from "@preact/signals";
import type { JSX, RefObject, TargetedKeyboardEvent } from "preact";
import { useEffect, useLayoutEffect, useRef } from "preact/hooks";
import { useMaker } from "../context.ts";
import { FIXED } from "./paint.ts";
import { placed, type Row, RULER } from "./rows.ts";
import { type Spot, type StripState, stripOf } from "./state.ts";
import { FRAME_MS } from "./view.ts";

/** Each with what it does, as they are listed for whoever asks. */
export const SHORTCUTS: readonly (readonly [string, string])[] = [
  ["arrows", "to the key before, after, above or below"],
  ["Shift and arrows", "choose several"],
  ["Alt and arrows", "move what is chosen by one step; with Shift by one frame"],
  ["Enter", "look there; beside a row's name, a new key there"],
  ["Delete", "remove"],
  ["Ctrl C, X, V", "copy, cut, paste at the light"],
  ["Ctrl A", "choose all"],
  ["+ − 0", "closer, wider, all of it"],
  ["Page Up, Page Down", "a frame back, a frame on"],
  ["P", "play, and hold"],
];

const idOf = ({ row, id }: Spot): string => `key-${row.replace(/[^a-z0-9_]/gi, "-")}-${id}`;

export function Keys({ scroller }: { scroller: RefObject<HTMLDivElement | null> }): JSX.Element {
  const maker = useMaker();
  const strip = stripOf(maker);
  const grid = useRef<HTMLDivElement>(null);
  const hadFocus = useRef(false);
  const holds = (): boolean => (grid.current?.contains(document.activeElement) ?? false) || (document.activeElement === document.body && hadFocus.current);
  const follow = (): void => document.getElementById(idOf(strip.active.peek()))?.focus({ preventScroll: true });
  // The focus follows what is active at once, so that the next key press is of what is there now.
  useEffect(
    () =>
      effect(() => {
        const spot = strip.active.value;
        const rows = strip.rows.value;
        reveal(strip, spot, rows, scroller.current, holds());
        if (holds()) follow();
      }),
    [strip, scroller],
  );
  // A cell that was made has the focus as soon as it is there. One that is gone, as a finding that was mended, leaves it
  // to its row's name: left on nothing, it would lose every key press that follows.
  useLayoutEffect(() => {
    if (!holds()) return;
    const { row, id } = strip.active.peek();
    if (id !== -1 && !strip.item(strip.active.peek())) strip.active.value = { row: strip.row(row) ? row : "whole", id: -1 };
    else follow();
  });
  const rows = strip.calm.value;
  const { row: name, id } = strip.active.value;
  const present = rows.some((row) => row.name === name && (id === -1 || row.items.some((item) => item.id === id)));
  void maker.selection.value;
  return (
    <div
      class="strip-keys"
      ref={grid}
      role="grid"
      aria-label="Keys in time"
      aria-multiselectable="true"
      aria-describedby="strip-help"
      data-keys="own"
      onKeyDown={(event) => press(event, strip, rows)}
      onFocusIn={() => {
        hadFocus.current = true;
      }}
      onFocusOut={(event) => {
        hadFocus.current = event.relatedTarget === null;
      }}
    >
      {rows.map((row, r) => (
        <div role="row" key={row.name}>
          <div
            role="rowheader"
            id={idOf({ row: row.name, id: -1 })}
            tabIndex={(name === row.name && id === -1) || (!present && r === 0) ? 0 : -1}
            onFocus={() => focus(strip, row.name, -1)}
          >
            {row.words}, {row.items.length === 0 ? "empty" : row.items.length}
          </div>
          {row.items.map((item) => (
            <div
              role="gridcell"
              key={item.id}
              id={idOf({ row: row.name, id: item.id })}
              tabIndex={name === row.name && id === item.id ? 0 : -1}
              aria-selected={strip.isChosen(row, item)}
              onFocus={() => focus(strip, row.name, item.id)}
            >
              {item.words}
            </div>
          ))}
        </div>
      ))}
    </div>
  );
}

function focus(strip: StripState, row: string, id: number): void {
  const { active } = strip;
  if (active.peek().row !== row || active.peek().id !== id) active.value = { row, id };
}

/** Scrolls to what is active, up and down always, in time only when the keyboard went there. */
function reveal(strip: StripState, spot: Spot, rows: readonly Row[], scroller: HTMLDivElement | null, byKeys: boolean): void {
  const all = placed(rows);
  const own = all.find(({ row }) => row.name === spot.row);
  if (!own || !scroller) return;
  const item = own.row.items.find(({ id }) => id === spot.id);
  if (item && byKeys) strip.view.reveal(item.ms);
  if (FIXED.has(own.row.name)) return;
  const fixed = all.filter(({ row }) => FIXED.has(row.name)).reduce((sum, { height }) => sum + height, RULER);
  if (own.top - scroller.scrollTop < fixed) scroller.scrollTop = own.top - fixed;
  const over = own.top + own.height - scroller.scrollTop - scroller.clientHeight;
  if (over > 0) scroller.scrollTop += over;
}

function press(event: TargetedKeyboardEvent<HTMLElement>, strip: StripState, rows: readonly Row[]): void {
  if (done(event, strip, rows)) {
    event.preventDefault();
    event.stopPropagation();
  }
}

/** What a key does; whether it did something. */
function done(event: TargetedKeyboardEvent<HTMLElement>, strip: StripState, rows: readonly Row[]): boolean {
  const { maker, view } = strip;
  const { key, shiftKey, altKey } = event;
  const command = event.ctrlKey || event.metaKey;
  const row = strip.row();
  const item = strip.item();
  const at = maker.player.at.peek();
  if (command) {
    switch (key.toLowerCase()) {
      case "a":
        strip.chooseAll();
        return true;
      case "c":
        strip.copy();
        return true;
      case "x":
        strip.copy();
        strip.remove();
        return true;
      case "v":
        strip.paste(at);
        return true;
      default:
        return false;
    }
  }
  switch (key) {
    case "ArrowLeft":
    case "ArrowRight": {
      const side = key === "ArrowLeft" ? -1 : 1;
      if (altKey) {
        if (item && row && !strip.isChosen(row, item)) strip.choose(row, item);
        strip.nudge(side * (shiftKey || !maker.doc.peek() ? FRAME_MS : view.step(maker.doc.peek() as NonNullable<typeof maker.doc.value>)));
      } else step(strip, side, shiftKey);
      return true;
    }
    case "ArrowUp":
    case "ArrowDown":
      across(strip, rows, key === "ArrowUp" ? -1 : 1);
      return true;
    case "Home":
    case "End": {
      const to = key === "Home" ? row?.items[0] : row?.items.at(-1);
      if (row && to) strip.choose(row, to);
      return true;
    }
    case "Enter":
      if (!item) strip.keyHere(row, at);
      else {
        if (row && !strip.isChosen(row, item)) strip.choose(row, item);
        maker.player.pause();
        maker.player.seek(item.ms);
      }
      return true;
    case "Delete":
    case "Backspace":
      strip.remove();
      return true;
    case "+":
    case "=":
      view.zoom(1.4, view.x(at));
      return true;
    case "-":
    case "_":
      view.zoom(1 / 1.4, view.x(at));
      return true;
    case "0":
      view.fit();
      return true;
    case "PageUp":
    case "PageDown":
      maker.player.step(key === "PageUp" ? -1 : 1, 1000 / FRAME_MS);
      view.reveal(maker.player.at.peek());
      return true;
    case "p":
    case "P":
      maker.player.toggle();
      return true;
    default:
      return false;
  }
}

/** To the item before or after; before the first is the row's name. */
function step(strip: StripState, side: -1 | 1, more: boolean): void {
  const row = strip.row();
  if (!row) return;
  const now = row.items.findIndex(({ id }) => id === strip.active.peek().id);
  const next = row.items[now + side];
  if (next) strip.choose(row, next, more ? "up to" : "only");
  else if (side < 0) strip.active.value = { row: row.name, id: -1 };
}

/** To what is nearest in time in the row above or below. */
function across(strip: StripState, rows: readonly Row[], side: -1 | 1): void {
  const index = rows.findIndex(({ name }) => name === strip.active.peek().row);
  const row = rows[Math.min(rows.length - 1, Math.max(0, index + side))];
  if (!row) return;
  const ms = strip.item()?.ms;
  if (ms === undefined || row.items.length === 0) {
    strip.active.value = { row: row.name, id: -1 };
    return;
  }
  strip.choose(row, row.items.reduce((best, each) => (Math.abs(each.ms - ms) < Math.abs(best.ms - ms) ? each : best)));
}
