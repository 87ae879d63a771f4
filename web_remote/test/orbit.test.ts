import assert from "node:assert/strict";
import { test } from "node:test";
import { eye, FIRST, nearer, turned } from "../src/stage/orbit.ts";

test("the eye keeps its distance, and stands behind and above at first", () => {
  for (const [around, above] of [
    [0.3, -0.2],
    [2, 1.2],
    [-1, 0.4],
  ] as const) {
    const [x, y, z] = eye(turned(FIRST, around, above), 500);
    assert.ok(Math.abs(Math.hypot(x, y, z) - 500) < 1e-9);
    assert.ok(z > 0);
  }
  const [x, , z] = eye(FIRST, 1);
  assert.ok(x < 0 && z > 0);
});

test("however it is dragged, it never goes under the floor, over the top, or too near or far", () => {
  let look = FIRST;
  for (let i = 0; i < 500; i++) look = nearer(turned(look, 0.7, i % 3 ? 0.4 : -1.3), i % 2 ? 0.5 : 1.3);
  assert.ok(look.above > 0 && look.above < Math.PI / 2);
  assert.ok(look.away >= 0.35 && look.away <= 3);
  assert.ok(look.around >= 0 && look.around < 2 * Math.PI);
  assert.ok(turned(FIRST, 0, -9).above > 0);
});
