import assert from "node:assert/strict";
import { test } from "node:test";
import { carriedOn, leansTo, leanTowards } from "../src/lean.ts";
import { ROBOT } from "./hands.ts";

// ROS REP 103: x forward, y left, z up. About x, positive lifts the left side; about y, positive lowers the nose.

test("the body leans towards the touch: ahead is nose down, right is right side down", () => {
  assert.deepEqual(leanTowards(0, -1, ROBOT), { roll_deg: 0, pitch_deg: 18 });
  assert.deepEqual(leanTowards(0, 1, ROBOT), { roll_deg: 0, pitch_deg: -18 });
  assert.deepEqual(leanTowards(1, 0, ROBOT), { roll_deg: 20, pitch_deg: 0 });
  assert.deepEqual(leanTowards(-5, 0, ROBOT), { roll_deg: -20, pitch_deg: 0 });
  assert.deepEqual(leanTowards(0.03, -0.03, ROBOT), { roll_deg: 0, pitch_deg: 0 });
});

test("the lantern hangs in the direction that was touched", () => {
  for (let turn = 0; turn < 360; turn += 15) {
    const [x, y] = [Math.cos((turn * Math.PI) / 180), Math.sin((turn * Math.PI) / 180)];
    const [sx, sy] = leansTo(leanTowards(x * 0.6, y * 0.6, ROBOT), ROBOT);
    assert.ok(Math.abs(Math.atan2(sx * y - sy * x, sx * x + sy * y)) < 0.02, String(turn));
    assert.ok(Math.hypot(sx, sy) <= 1);
  }
  const [x, y] = leansTo({ roll_deg: 300, pitch_deg: 300 }, ROBOT);
  assert.ok(Math.hypot(x, y) < 1.001);
});

test("keys go on within what the robot can, and one key makes it level", () => {
  let now = { height_mm: 29, roll_deg: 0, pitch_deg: 0, yaw_deg: -24.5 };
  for (const code of ["KeyI", "KeyJ", "KeyO", "KeyO", "KeyR"]) now = carriedOn(code, now, ROBOT) ?? now;
  assert.deepEqual(now, { height_mm: 30, roll_deg: -1, pitch_deg: 1, yaw_deg: -25 });
  assert.deepEqual(carriedOn("KeyN", now, ROBOT), { height_mm: 30, roll_deg: 0, pitch_deg: 0, yaw_deg: 0 });
  assert.equal(carriedOn("KeyZ", now, ROBOT), null);
});
