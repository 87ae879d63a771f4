import assert from "node:assert/strict";
import { test } from "node:test";
import { GONE_MS, HELD_MS, type Limit, OTHER_MS, SteadyLimit } from "../src/limit.ts";

/** What is shown, every 40 ms, as states come. */
function shown(said: (ms: number) => Limit, lasts = 6000): Limit[] {
  const steady = new SteadyLimit();
  return Array.from({ length: lasts / 40 }, (_, i) => steady.hear(said(i * 40), i * 40));
}

function changes(values: readonly Limit[]): number {
  return values.filter((value, i) => i > 0 && value !== values[i - 1]).length;
}

test("a limit that holds is shown soon, and stays until it has been gone for a while", () => {
  const seen = shown((ms) => (ms >= 1000 && ms < 3000 ? "reach" : ""));
  const first = seen.indexOf("reach") * 40;
  assert.ok(first >= 1000 + HELD_MS - 40 && first <= 1000 + HELD_MS + 40);
  const last = seen.lastIndexOf("reach") * 40;
  assert.ok(last >= 3000 + GONE_MS - 80 && last <= 3000 + GONE_MS + 40);
  assert.equal(changes(seen), 2);
});

test("what flickers within a step does not flicker on the screen", () => {
  assert.ok(changes(shown((ms) => (ms % 400 < 280 ? "torque" : ""))) <= 1);
  assert.ok(changes(shown((ms) => (ms % 400 < 200 ? "torque" : "current"))) <= 1);
  assert.equal(changes(shown((ms) => (ms % 1000 < 120 ? "reach" : ""))), 0);
});

test("another limit that holds takes the place of the first", () => {
  const seen = shown((ms) => (ms < 2000 ? "reach" : "voltage"));
  assert.equal(seen.at(-1), "voltage");
  assert.ok(seen.indexOf("voltage") * 40 <= 2000 + OTHER_MS + 40);
});
