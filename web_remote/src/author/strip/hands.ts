/**
 * Mouse, pen and fingers on the strip's picture. A press takes hold of what is under it; on nothing, a mouse draws a
 * box and a finger moves the strip, until it has rested a moment: then it draws a box too. Two fingers move and zoom.
 */

import { placedKeys } from "../edits.ts";
import { FIXED, spread } from "./paint.ts";
import { type Item, type Row, RULER } from "./rows.ts";
import type { MoveStart, StripState } from "./state.ts";

export interface Ground {
  gutter(): number;
  scrolled(): number;
}

/** How far from what is drawn a press still takes hold of it: 24 px across for a finger, as WCAG 2.2 (2.5.8) asks at least. */
const REACH_PX = 14;
const FINGER_PX = 20;
const REST_MS = 380;
const SLACK_PX = 4;

type Hold =
  | { does: "time" }
  | { does: "range"; edge: 0 | 1; fixed: number }
  | { does: "stretch"; from: number; to: number; gesture: string }
  | { does: "keys"; start: MoveStart; grabbed: number; gesture: string; others: number[] }
  | { does: "walk"; id: number; from: number; to: number; part: "from" | "to" | "all"; gesture: string }
  | { does: "cue"; id: number; ms: number; gesture: string }
  | { does: "sound"; ms: number; gesture: string }
  | { does: "box" }
  | { does: "pan" };

export function handle(canvas: HTMLCanvasElement, strip: StripState, ground: Ground): () => void {
  const { view, maker } = strip;
  const fingers = new Map<number, { x: number; y: number }>();
  let hold: Hold | null = null;
  let [startX, startY, lastX] = [0, 0, 0];
  let moved = false;
  let rest: ReturnType<typeof setTimeout> | undefined;
  let apart = 0;
  let queued: PointerEvent | null = null;
  let frame = 0;
  let tapped: { at: number; x: number; row: string } | null = null;

  const place = (event: { clientX: number; clientY: number }): { x: number; y: number } => {
    const box = canvas.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top };
  };
  const time = (x: number): number => view.ms(x - ground.gutter());
  const rowAt = (y: number): { row: Row; top: number; height: number } | undefined => {
    const all = spread(strip.rows.peek(), ground.scrolled());
    const within = (each: { top: number; height: number }): boolean => y >= each.top && y < each.top + each.height;
    return all.find((each) => FIXED.has(each.row.name) && within(each)) ?? all.find((each) => !FIXED.has(each.row.name) && within(each));
  };
  const itemAt = (row: Row, x: number, reach: number): Item | undefined => {
    let [best, near]: [Item | undefined, number] = [undefined, reach];
    for (const item of row.items) {
      const [a, b] = [view.x(item.ms) + ground.gutter(), view.x(item.to) + ground.gutter()];
      const spans = row.kind === "walks" || row.kind === "findings";
      const away = spans && x > a && x < b ? 0 : Math.min(Math.abs(x - a), spans ? Math.abs(x - b) : Infinity);
      if (away < near) [best, near] = [item, away];
    }
    return best;
  };

  /** Findings lie over one another: pressing again and again goes through them. */
  function nextFinding(row: Row, x: number, reach: number): Item | undefined {
    const near = row.items.filter((item) => itemAt({ ...row, items: [item] }, x, reach));
    const now = near.findIndex(({ id }) => strip.active.peek().row === row.name && strip.active.peek().id === id);
    return near[(now + 1) % Math.max(1, near.length)];
  }

  function grab(event: PointerEvent, x: number, y: number): Hold {
    const reach = event.pointerType === "touch" ? FINGER_PX : REACH_PX;
    const { range } = view;
    const edgeAt = (ms: number): boolean => Math.abs(view.x(ms) + ground.gutter() - x) < reach;
    if (y < RULER) {
      const chosen = range.peek();
      if (chosen && edgeAt(chosen[1])) return { does: "range", edge: 1, fixed: chosen[0] };
      if (chosen && edgeAt(chosen[0])) return { does: "range", edge: 0, fixed: chosen[1] };
      if (event.shiftKey || strip.boxing.peek()) return { does: "range", edge: 1, fixed: caught(time(x)) };
      maker.player.pause();
      seek(x);
      return { does: "time" };
    }
    const found = rowAt(y);
    if (!found) return { does: "pan" };
    const { row } = found;
    if (x < ground.gutter()) {
      strip.active.value = { row: row.name, id: -1 };
      return { does: "pan" };
    }
    const chosen = range.peek();
    if (row.kind === "whole" && chosen) {
      const handle = view.x(chosen[1]) + ground.gutter() + 15;
      if (Math.abs(x - handle) < reach * 0.7) return { does: "stretch", from: chosen[0], to: chosen[1], gesture: strip.gesture("stretch") };
    }
    // On a full row no place is without a key: whoever wants several draws over them, and a tap adds one.
    if (several(event) && (row.kind === "lane" || row.kind === "whole")) return { does: "box" };
    const item = row.kind === "findings" ? nextFinding(row, x, reach) : itemAt(row, x, reach);
    if (!item) {
      if (event.pointerType === "touch" && !strip.boxing.peek()) return { does: "pan" };
      return { does: "box" };
    }
    const before = strip.isChosen(row, item);
    if (event.shiftKey) strip.choose(row, item, "up to");
    else if (event.ctrlKey || event.metaKey || several(event)) strip.choose(row, item, "also");
    else if (before && (row.kind === "lane" || row.kind === "whole")) strip.active.value = { row: row.name, id: item.id };
    else strip.choose(row, item);
    switch (row.kind) {
      case "findings":
        maker.player.pause();
        maker.player.seek(item.ms);
        return { does: "pan" };
      case "walks": {
        const [a, b] = [view.x(item.ms), view.x(item.to)].map((each) => Math.abs(each + ground.gutter() - x)) as [number, number];
        const edge = Math.min(reach, (view.x(item.to) - view.x(item.ms)) / 3);
        const part = a < edge ? "from" : b < edge ? "to" : "all";
        return { does: "walk", id: item.id, from: item.ms, to: item.to, part, gesture: strip.gesture("walk") };
      }
      case "cues":
        return { does: "cue", id: item.id, ms: item.ms, gesture: strip.gesture("cue") };
      case "sound":
        return { does: "sound", ms: item.ms, gesture: strip.gesture("sound") };
      default: {
        const start = strip.grip();
        const sheet = maker.sheet.peek();
        const ids = new Set(start.marks.map(({ key }) => key));
        const others = sheet ? placedKeys(sheet).filter(({ id }) => !ids.has(id)).map(({ ms }) => ms) : [];
        return { does: "keys", start, grabbed: item.ms, gesture: strip.gesture("keys"), others: [...others, maker.player.at.peek()] };
      }
    }
  }

  function several(event: PointerEvent): boolean {
    return strip.boxing.peek() && event.pointerType === "touch";
  }

  function caught(ms: number, others: readonly number[] = []): number {
    const doc = maker.doc.peek();
    return doc ? view.caught(doc, ms, others) : ms;
  }

  function seek(x: number): void {
    maker.player.seek(caught(time(x), keyTimes()));
  }

  function keyTimes(): number[] {
    const sheet = maker.sheet.peek();
    return sheet ? placedKeys(sheet).map(({ ms }) => ms) : [];
  }

  function drag(x: number, y: number): void {
    if (!hold) return;
    const by = (x - startX) / view.scale.peek();
    switch (hold.does) {
      case "time":
        return seek(x);
      case "range": {
        const ms = caught(time(x), keyTimes());
        const chosen = [Math.min(ms, hold.fixed), Math.max(ms, hold.fixed)] as const;
        view.range.value = chosen[1] - chosen[0] > 1 ? chosen : null;
        return;
      }
      case "stretch": {
        const to = caught(hold.to + by);
        const factor = Math.max(0.02, (to - hold.from) / (hold.to - hold.from));
        if (maker.do({ do: "stretch", from_ms: hold.from, to_ms: hold.to, factor }, hold.gesture)) {
          view.range.value = [hold.from, hold.from + (hold.to - hold.from) * factor];
        }
        return;
      }
      case "keys":
        return strip.move(hold.start, caught(hold.grabbed + by, hold.others) - hold.grabbed, hold.gesture);
      case "walk": {
        const { from, to, part } = hold;
        const shift = caught((part === "to" ? to : from) + by, keyTimes()) - (part === "to" ? to : from);
        const times = { ...(part !== "to" && { from_ms: Math.max(0, from + shift) }), ...(part !== "from" && { to_ms: to + Math.max(shift, part === "all" ? -from : -Infinity) }) };
        if (maker.do({ do: "set-walk", walk: hold.id, ...times }, hold.gesture)) {
          const item = strip.row("walks")?.items.find(({ id }) => id === strip.active.peek().id);
          if (item) view.range.value = [item.ms, item.to];
        }
        return;
      }
      case "cue":
        maker.do({ do: "set-cue", cue: hold.id, at_ms: caught(hold.ms + by, keyTimes()) }, hold.gesture);
        return;
      case "sound": {
        const sound = maker.doc.peek()?.sound;
        if (sound) maker.do({ do: "sound", sound: { ...sound, at_ms: Math.round(hold.ms + by) } }, hold.gesture);
        return;
      }
      case "box":
        strip.box.value = [startX, startY, x, y];
        return;
      case "pan":
        view.pan(lastX - x);
    }
  }

  function pinch(): void {
    const [a, b] = [...fingers.values()];
    if (!a || !b) return;
    const now = Math.max(20, Math.hypot(a.x - b.x, a.y - b.y));
    const middle = (a.x + b.x) / 2 - ground.gutter();
    if (apart > 0) {
      view.zoom(now / apart, middle);
      view.pan(lastX - (a.x + b.x) / 2);
    }
    [apart, lastX] = [now, (a.x + b.x) / 2];
  }

  function down(event: PointerEvent): void {
    if (event.button !== 0) return;
    const { x, y } = place(event);
    fingers.set(event.pointerId, { x, y });
    canvas.setPointerCapture(event.pointerId);
    clearTimeout(rest);
    if (fingers.size === 2) {
      end(false);
      hold = { does: "pan" };
      moved = true;
      apart = 0;
      pinch();
      return;
    }
    [startX, startY, lastX, moved] = [x, y, x, false];
    hold = grab(event, x, y);
    if (hold.does === "pan" && event.pointerType === "touch" && y >= RULER && x >= ground.gutter()) {
      rest = setTimeout(() => {
        if (moved) return;
        hold = { does: "box" };
        navigator.vibrate?.(15);
        strip.box.value = [startX, startY, startX + 1, startY + 1];
      }, REST_MS);
    }
  }

  function move(event: PointerEvent): void {
    if (!fingers.has(event.pointerId)) return;
    fingers.set(event.pointerId, place(event));
    queued = event;
    if (!frame) frame = requestAnimationFrame(flush);
  }

  /** Once for each picture, however often the pointer says where it is. */
  function flush(): void {
    frame = 0;
    const event = queued;
    queued = null;
    if (!event || !hold) return;
    if (fingers.size >= 2) return pinch();
    const { x, y } = place(event);
    if (!moved && Math.hypot(x - startX, y - startY) < SLACK_PX) return;
    moved = true;
    if (hold.does !== "box") clearTimeout(rest);
    drag(x, y);
    lastX = x;
  }

  /** The hand lets go. */
  function end(whole: boolean): void {
    clearTimeout(rest);
    const was = hold;
    hold = null;
    maker.settle();
    const box = strip.box.peek();
    strip.box.value = null;
    if (!was || !whole) return;
    if (was.does === "box") {
      if (box && moved) {
        const [low, high] = [Math.min(box[1], box[3]), Math.max(box[1], box[3])];
        const rows = spread(strip.rows.peek(), ground.scrolled()).filter((each) => each.top < high && each.top + each.height > low && !(each.row.name === "whole" && low > each.top + each.height));
        strip.chooseWithin(time(Math.min(box[0], box[2])), time(Math.max(box[0], box[2])), rows.map(({ row }) => row));
      } else if (!add()) tap();
    } else if (was.does === "pan" && !moved) tap();
    else if (was.does === "keys" && !moved) {
      // A press without a drag looks there: what is posed next is posed at this key.
      maker.player.pause();
      maker.player.seek(was.grabbed);
    } else if ((was.does === "walk" || was.does === "cue") && !moved) {
      maker.player.pause();
      maker.player.seek(was.does === "walk" ? was.from : was.ms);
    }
  }

  /** While several are chosen, a tap on one adds it, or takes it away again. */
  function add(): boolean {
    const row = strip.boxing.peek() ? rowAt(startY)?.row : undefined;
    const item = row && (row.kind === "lane" || row.kind === "whole") ? itemAt(row, startX, FINGER_PX) : undefined;
    if (row && item) strip.choose(row, item, "also");
    return item !== undefined;
  }

  /** On nothing: the time is there now; twice on the same place, a key is too. */
  function tap(): void {
    const found = rowAt(startY);
    if (!found || startX < ground.gutter() || found.row.kind === "findings") return;
    const now = performance.now();
    const again = tapped && now - tapped.at < 420 && Math.abs(tapped.x - startX) < 14 && tapped.row === found.row.name;
    tapped = again ? null : { at: now, x: startX, row: found.row.name };
    strip.active.value = { row: found.row.name, id: -1 };
    maker.selection.value = [];
    view.range.value = null;
    maker.player.pause();
    maker.player.seek(caught(time(startX), keyTimes()));
    if (again) strip.keyHere(found.row, maker.player.at.peek());
  }

  function up(event: PointerEvent): void {
    if (!fingers.has(event.pointerId)) return;
    if (frame) {
      cancelAnimationFrame(frame);
      flush();
    }
    fingers.delete(event.pointerId);
    if (fingers.size === 0) end(true);
    else {
      hold = null;
      apart = 0;
    }
  }

  function cancel(event: PointerEvent): void {
    fingers.delete(event.pointerId);
    end(false);
  }

  function wheel(event: WheelEvent): void {
    const { x } = place(event);
    const size = event.deltaMode === 1 ? 20 : 1;
    if (event.ctrlKey || event.metaKey) {
      event.preventDefault();
      view.zoom(Math.exp(-event.deltaY * size * 0.0035), x - ground.gutter());
    } else {
      const across = event.shiftKey ? event.deltaY : event.deltaX;
      if (across === 0) return;
      event.preventDefault();
      view.pan(across * size);
    }
  }

  /** A finger that draws a box or drags a key does not scroll besides. */
  function touch(event: TouchEvent): void {
    if (hold && hold.does !== "pan" && event.cancelable) event.preventDefault();
  }

  const off = new AbortController();
  const { signal } = off;
  canvas.addEventListener("pointerdown", down, { signal });
  canvas.addEventListener("pointermove", move, { signal });
  canvas.addEventListener("pointerup", up, { signal });
  canvas.addEventListener("pointercancel", cancel, { signal });
  canvas.addEventListener("wheel", wheel, { passive: false, signal });
  canvas.addEventListener("touchmove", touch, { passive: false, signal });
  return () => {
    clearTimeout(rest);
    cancelAnimationFrame(frame);
    off.abort();
  };
}
