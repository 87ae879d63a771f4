import assert from "node:assert/strict";
import { test } from "node:test";
import { signal } from "@preact/signals";
import { Maker } from "../src/author/client.ts";
import { fresh, type SequenceFile } from "../src/author/document.ts";
import { placedKeys } from "../src/author/edits.ts";
import { Journal } from "../src/author/journal.ts";
import { loudnessOf, placeIn } from "../src/author/strip/sound.ts";
import { sampled } from "../src/author/strip/series.ts";
import { StripState } from "../src/author/strip/state.ts";
import { Taps } from "../src/author/strip/taps.ts";
import { ticks, View } from "../src/author/strip/view.ts";
import type { Connection } from "../src/link.ts";
import { HandClock } from "./hands.ts";
import { HOUSE, opened } from "./making.ts";

const BOW: SequenceFile = {
  ...fresh("bow"),
  keyframes: [
    { at_ms: 0, body: { z_mm: 0 } },
    { at_ms: 500, body: { z_mm: -10 }, feet: { lf: { z_mm: 20 } } },
    { at_ms: 1000, body: { z_mm: 0 }, joints_deg: { head: 10 } },
  ],
};

function strip(): StripState {
  const maker = new Maker({
    send: () => true,
    connection: signal<Connection>({ phase: "live" }),
    robot: signal(HOUSE.robot),
    tell: () => {},
    clock: new HandClock(),
    next: () => () => {},
    journal: new Journal(null),
  });
  maker.open("bow");
  maker.receive(opened({ text: JSON.stringify(BOW), version: "1" }));
  return new StripState(maker);
}

const times = (own: StripState): number[] => placedKeys(own.maker.sheet.value as never).map(({ ms }) => ms);

test("a key that is dragged keeps being chosen, also when its lane leaves a keyframe; Undo is one step", () => {
  const own = strip();
  const row = own.row("leg:lf");
  own.choose(row as never, row?.items[0] as never);
  const start = own.grip();
  for (const by of [40, 90, 200]) own.move(start, by, "drag 1");
  own.maker.settle();
  assert.deepEqual(times(own), [0, 500, 700, 1000]);
  const [mark] = own.maker.selection.value;
  const moved = placedKeys(own.maker.sheet.value as never).find(({ ms }) => ms === 700);
  assert.deepEqual([mark?.key, mark?.lane], [moved?.id, "leg:lf"]);
  assert.deepEqual(own.active.value, { row: "leg:lf", id: moved?.id });
  own.maker.undo();
  assert.deepEqual(times(own), [0, 500, 1000]);
  assert.ok(!own.maker.canUndo.value);
});

test("what is chosen with the whole of a keyframe is not chosen twice, and spans a stretch of time", () => {
  const own = strip();
  own.chooseWithin(400, 1100, own.rows.value);
  assert.equal(own.maker.selection.value.length, 2);
  assert.deepEqual(own.view.range.value, [500, 1000]);
  const lanes = own.rows.value.filter(({ kind }) => kind === "lane");
  own.chooseWithin(400, 1100, lanes);
  assert.equal(own.maker.selection.value.length, 4, "body twice, a leg, and a head");
});

test("what is copied is pasted where it is wanted, and only that is chosen then", () => {
  const own = strip();
  own.chooseWithin(400, 1100, [own.row("whole") as never]);
  own.copy();
  own.paste(750);
  assert.deepEqual(times(own), [0, 500, 750, 1000, 1250]);
  assert.deepEqual(own.view.range.value, [750, 1250]);
  assert.equal(own.maker.selection.value.length, 2);
});

test("a key made where a lane has none keys its rest, and where it has some, what it says there", () => {
  const own = strip();
  own.keyHere(own.row("leg:rm"), 300);
  own.keyHere(own.row("body"), 250);
  const keys = placedKeys(own.maker.sheet.value as never);
  assert.deepEqual(keys.find(({ ms }) => ms === 300)?.key.feet, { rm: { x_mm: 0, y_mm: 0, z_mm: 0 } });
  // Minimum jerk is half way there at half of the time (Flash & Hogan 1985).
  assert.deepEqual(keys.find(({ ms }) => ms === 250)?.key.body, { z_mm: -5 });
});

test("times catch on the grid and on other keys only where they are near, and the frame stays within the move", () => {
  const view = new View(() => 2000);
  view.width.value = 212;
  view.fit();
  assert.equal(view.from.value, 0);
  assert.ok(Math.abs(view.x(2000) - 200) < 1e-9, "the end, with a little room after it");
  assert.equal(view.caught(BOW, 740), 750, "a quarter of a second");
  assert.equal(view.caught(BOW, 830, [850]), 850, "another key");
  view.catching.value = false;
  assert.equal(view.caught(BOW, 740), 740);
  view.zoom(4, view.x(1000));
  assert.ok(Math.abs(view.x(1000) - 1000 * (212 / 2120)) < 1e-6, "what is under the hand stays there");
  view.pan(1e6);
  assert.ok(view.to.value <= 2000 * 1.12 + 1e-6);
});

test("a ruler's words are apart, in seconds and in beats", () => {
  for (const scale of [0.002, 0.02, 0.2, 1.5]) {
    for (const doc of [BOW, { ...BOW, tempo_bpm: 90, keyframes: [{ at_beat: 0, body: { z_mm: 0 } }] }]) {
      const marks = ticks(doc, 0, 900 / scale, scale).filter(({ words }) => words);
      assert.ok(marks.length >= 2, `${scale}`);
      for (let i = 1; i < marks.length; i++) {
        assert.ok(((marks[i]?.ms ?? 0) - (marks[i - 1]?.ms ?? 0)) * scale >= 61, `${scale}`);
      }
    }
  }
});

test("a hand that taps sets the tempo, by the middle of what it taps, and begins anew after a pause", () => {
  const taps = new Taps();
  const told = [0, 500, 1010, 1490, 2000].map((at) => taps.tap(at));
  assert.deepEqual(told.slice(0, 2), [null, null]);
  assert.ok(Math.abs((told[4] ?? 0) - 60_000 / 505) < 0.06, "half a second each is 120 a minute, near enough");
  assert.equal(taps.tap(9000), null);
});

test("a sound is drawn as loud as it is, and is where the move is", () => {
  const wave = Float32Array.from({ length: 800 }, (_, i) => (i >= 400 && i < 480 ? (i % 2 ? -0.5 : 0.25) : 0));
  const loud = loudnessOf([wave], 8000);
  assert.deepEqual([...loud], [0, 0, 0, 0, 0, 0.5, 0, 0, 0, 0]);
  assert.equal(placeIn(1500, 1000, 2), 0.5);
  assert.equal(placeIn(900, 1000, 2), null);
  assert.equal(placeIn(3100, 1000, 2), null);
  assert.equal(placeIn(0, -250, 2), 0.25, "its beginning is left out");
});

test("a curve of many frames keeps every peak", () => {
  const subject = { id: "x", words: "x", unit: "mm", limits: [], at: (row: number) => (row === 7001 ? 90 : row === 3333 ? -40 : 1) };
  const [at, values] = sampled(subject, 0, 14_999, 50);
  assert.ok(at.length <= 1700);
  assert.ok(values.includes(90) && values.includes(-40));
  assert.equal(at[values.indexOf(90)], (7001 / 50) * 1000);
});
