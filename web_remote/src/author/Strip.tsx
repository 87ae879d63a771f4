/** The move in time: looked at, taken hold of, and worked upon. What each part does is in strip/. */

import { effect } from "@preact/signals";
import type { JSX } from "preact";
import { useEffect } from "preact/hooks";
import { useRemote } from "../ui/context.ts";
import { useMaker } from "./context.ts";
import { usePoser } from "./posing/context.ts";
import { Chosen } from "./strip/Chosen.tsx";
import { Curves } from "./strip/Curves.tsx";
import { SHORTCUTS } from "./strip/Keys.tsx";
import { Measure } from "./strip/Measure.tsx";
import { Path } from "./strip/Path.tsx";
import { Picture } from "./strip/Picture.tsx";
import { Sound } from "./strip/Sound.tsx";
import { accompany } from "./strip/sound.ts";
import { type Drawer, stripOf } from "./strip/state.ts";
import { Stretching } from "./strip/Stretching.tsx";
import { Transport } from "./Transport.tsx";

const DRAWERS: readonly (readonly [Drawer, string])[] = [
  ["chosen", "Keys"],
  ["time", "Time"],
  ["measure", "Counting"],
  ["curves", "Curves"],
  ["path", "Path"],
  ["sound", "Sound"],
];

export function Strip(): JSX.Element {
  const remote = useRemote();
  const maker = useMaker();
  const strip = stripOf(maker);
  const { view, drawer } = strip;
  useEffect(() => accompany(maker, strip, (words) => remote.tell("warning", words)), [maker, strip, remote]);
  const poser = usePoser();
  // What is chosen here is what the pose is about, until something else is chosen there. At once, and not with the next
  // picture: whoever is quick would move the part that they just left.
  useEffect(
    () =>
      effect(() => {
        const { row } = strip.active.value;
        const lane = strip.rows.peek().find(({ name }) => name === row)?.lane;
        if (lane) poser.part.value = lane;
      }),
    [strip, poser],
  );
  const middle = (): number => view.width.peek() / 2;
  return (
    <section class="make-strip" aria-label="The move in time">
      <Transport />
      <div class="strip-bar">
        <div class="strip-drawers" role="group" aria-label="Under the strip">
          {DRAWERS.map(([id, words]) => (
            <button
              key={id}
              type="button"
              aria-pressed={drawer.value === id}
              onClick={() => {
                drawer.value = id;
              }}
            >
              {words}
            </button>
          ))}
        </div>
        <select
          class="strip-under"
          aria-label="Under the strip"
          value={drawer.value}
          onChange={(event) => {
            drawer.value = event.currentTarget.value as Drawer;
          }}
        >
          {DRAWERS.map(([id, words]) => (
            <option key={id} value={id}>
              {words}
            </option>
          ))}
        </select>
        <div class="strip-eye" role="group" aria-label="How much is seen">
          <button
            type="button"
            aria-pressed={strip.boxing.value}
            title="A finger draws a box around keys"
            onClick={() => {
              strip.boxing.value = !strip.boxing.value;
            }}
          >
            Several
          </button>
          <button type="button" aria-label="Closer" onClick={() => view.zoom(1.6, middle())}>
            +
          </button>
          <button type="button" aria-label="Wider" onClick={() => view.zoom(1 / 1.6, middle())}>
            −
          </button>
          <button type="button" onClick={() => view.fit()}>
            All
          </button>
        </div>
      </div>
      <p id="strip-help" class="unseen">
        {SHORTCUTS.map(([keys, words]) => `${keys}: ${words}`).join("; ")}
      </p>
      <Picture />
      <p class="unseen" aria-live="polite">
        {strip.said.value}
      </p>
      <div class="strip-drawer" data-drawer={drawer.value}>
        {drawer.value === "chosen" && <Chosen />}
        {drawer.value === "time" && <Stretching />}
        {drawer.value === "measure" && <Measure />}
        {drawer.value === "curves" && <Curves />}
        {drawer.value === "path" && <Path />}
        {drawer.value === "sound" && <Sound />}
      </div>
    </section>
  );
}
