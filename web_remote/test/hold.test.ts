import assert from "node:assert/strict";
import { test } from "node:test";
import { HOLD_MS, Hold, type HoldPhase, TWICE_MS } from "../src/hold.ts";
import { HandClock } from "./hands.ts";

function begun() {
  const clock = new HandClock();
  const phases: HoldPhase[] = [];
  let done = 0;
  const hold = new Hold(
    clock,
    () => {
      done += 1;
    },
    (phase) => phases.push(phase),
  );
  return { clock, hold, phases, done: () => done };
}

test("held long enough, it is done once", () => {
  const { clock, hold, done } = begun();
  hold.press();
  clock.pass(HOLD_MS - 1);
  assert.equal(done(), 0);
  clock.pass(1);
  assert.equal(done(), 1);
  clock.pass(10_000);
  assert.equal(done(), 1);
});

test("let go too early, it is not done, and the next press starts from the beginning", () => {
  const { clock, hold, done } = begun();
  hold.press();
  clock.pass(HOLD_MS - 10);
  hold.release();
  hold.press();
  clock.pass(HOLD_MS - 10);
  assert.equal(done(), 0);
  clock.pass(10);
  assert.equal(done(), 1);
});

test("a key that repeats does not start it anew", () => {
  const { clock, hold, done } = begun();
  for (let i = 0; i < 10; i++) {
    hold.press();
    clock.pass(HOLD_MS / 10);
  }
  assert.equal(done(), 1);
});

test("where nothing can be held, the second press counts, if it comes in time", () => {
  const { clock, hold, done } = begun();
  hold.tap();
  clock.pass(TWICE_MS);
  hold.tap();
  assert.equal(done(), 0);
  clock.pass(TWICE_MS - 1);
  hold.tap();
  assert.equal(done(), 1);
  assert.equal(hold.phase, "idle");
});
