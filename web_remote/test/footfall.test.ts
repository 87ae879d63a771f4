import assert from "node:assert/strict";
import { test } from "node:test";
import { bits, Footfall, tracks, twoCycles } from "../src/footfall.ts";
import { fewestDown, gaitWords } from "../src/gaits.ts";
import type { GaitInfo } from "../src/messages.gen.ts";
import { ROBOT } from "./hands.ts";

test("stretches are told to the tick, also where two states in three are lost", () => {
  const fall = new Footfall();
  const truth = (tick: number): number => (tick % 20 < 12 ? 1 : 2);
  for (let tick = 6; tick <= 120; tick += 6) {
    fall.hear({ tick, feet: Array.from({ length: 6 }, (_, i) => truth(tick - 5 + i)) });
  }
  // Ticks 81 to 120: 81-91 first leg down, 92-99 up, 100-111 down, 112-119 up, 120 down.
  assert.deepEqual(
    fall.runs(0, 40).map(({ from, to, down }) => [from, to, down]),
    [
      [40, 29, true],
      [29, 21, false],
      [21, 9, true],
      [9, 1, false],
      [1, 0, true],
    ],
  );
  assert.equal(fall.now, 1);
  assert.equal(fall.fewest(40), 1);
});

test("what was not told is not drawn: a gap, limpness, and the time before", () => {
  const fall = new Footfall();
  assert.equal(fall.now, -1);
  fall.hear({ tick: 100, feet: [3, 3] });
  fall.hear({ tick: 110, feet: [3, -1] });
  assert.deepEqual(
    fall.runs(0, 14).map(({ from, to, down }) => [from, to, down]),
    [
      [14, 12, null],
      [12, 10, true],
      [10, 2, null],
      [2, 1, true],
      [1, 0, null],
    ],
  );
  assert.equal(fall.now, -1);
});

test("a hub that has begun anew begins a new strip", () => {
  const fall = new Footfall();
  fall.hear({ tick: 5000, feet: [1, 1, 1] });
  fall.hear({ tick: 2, feet: [0, 0] });
  assert.equal(fall.runs(0, 50).filter(({ down }) => down === true).length, 0);
  assert.equal(fall.fewest(50), 0);
});

test("tracks lie as the legs do, the front ones outermost; any number of them", () => {
  const one = ROBOT.legs[0] as (typeof ROBOT.legs)[0];
  const leg = (x: number, y: number): typeof one => ({ ...one, hip_mm: [x, y, 0] });
  const eight = [80, 30, -30, -80].flatMap((x) => [leg(x, 40), leg(x, -40)]);
  assert.deepEqual(tracks({ legs: eight }), { left: [0, 2, 4, 6], right: [7, 5, 3, 1] });
  assert.deepEqual(tracks({ legs: eight.filter((_, i) => i < 2 || i > 5) }), { left: [0, 2], right: [3, 1] });
  assert.equal(bits(0b10110001), 4);
  assert.equal(twoCycles({ cycle_ms: 1200 }), 120);
});

// McGhee & Frank 1968: a regular gait is its duty factor and one phase a leg; the counts are by hand.
test("how many feet stand at least is worked out for each gait", () => {
  const gait = (duty: number, touchdown: number[]): GaitInfo => ({ name: "own", duty, touchdown });
  assert.equal(fewestDown(gait(0.5, [0, 0.5, 0, 0.5, 0, 0.5])), 3);
  assert.equal(fewestDown(gait(2 / 3, [2 / 3, 1 / 3, 0, 0, 2 / 3, 1 / 3])), 4);
  assert.equal(fewestDown(gait(5 / 6, [0, 5 / 6, 4 / 6, 0.5, 2 / 6, 1 / 6])), 5);
  assert.equal(fewestDown(gait(0.75, [0, 0.75, 0.5, 0.25])), 3);
  assert.equal(gaitWords(gait(0.75, [0, 0.75, 0.5, 0.25])), "This robot’s own. At least 3 of 4 feet stand.");
});
