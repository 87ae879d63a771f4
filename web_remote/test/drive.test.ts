import assert from "node:assert/strict";
import { test } from "node:test";
import { DriveSender, keysTwist, REPEAT_MS, STILL, together, turnTowards, walkTowards } from "../src/drive.ts";
import type { Drive } from "../src/messages.gen.ts";
import { HandClock } from "./hands.ts";

// Axes: ROS REP 103, x forward, y left, yaw positive to the left; the screen's x is right and y down.

test("the pad's four sides are forward, back, left and right", () => {
  assert.deepEqual(walkTowards(0, -1, 1), { forward: 1, left: 0 });
  assert.deepEqual(walkTowards(0, 1, 1), { forward: -1, left: 0 });
  assert.deepEqual(walkTowards(-1, 0, 1), { forward: 0, left: 1 });
  assert.deepEqual(walkTowards(1, 0, 1), { forward: 0, left: -1 });
});

test("any touch keeps its direction, stays within the unit circle, and grows with distance", () => {
  for (let turn = 0; turn < 360; turn += 7) {
    const [x, y] = [Math.cos((turn * Math.PI) / 180), Math.sin((turn * Math.PI) / 180)];
    let last = -1;
    for (const far of [0, 0.1, 0.2, 0.5, 0.9, 1, 3]) {
      const { forward, left } = walkTowards(x * far, y * far, 1);
      const share = Math.hypot(forward, left);
      assert.ok(share <= 1.001 && share >= last - 1e-9);
      last = share;
      if (share > 0) {
        assert.ok(Math.abs(-left - x * share) < 0.002);
        assert.ok(Math.abs(-forward - y * share) < 0.002);
      }
    }
    assert.ok(last > 0.999);
  }
});

test("a thumb at rest in the middle does not walk, nor turn", () => {
  assert.deepEqual(walkTowards(0.05, -0.08, 1), { forward: 0, left: 0 });
  assert.deepEqual(walkTowards(0, 0, 1), { forward: 0, left: 0 });
  assert.equal(turnTowards(0.1, 1), 0);
  assert.equal(turnTowards(0, 1), 0);
});

test("the strip's left half turns to the left", () => {
  assert.equal(turnTowards(-1, 1), 1);
  assert.equal(turnTowards(1, 1), -1);
  assert.ok(turnTowards(-0.5, 1) > 0 && turnTowards(-0.5, 1) < 1);
});

test("keys add up: two at right angles give a diagonal of full speed, opposite ones stand", () => {
  const { forward, left } = keysTwist(["KeyW", "KeyA"]);
  assert.ok(Math.abs(forward - Math.SQRT1_2) < 1e-3 && Math.abs(left - Math.SQRT1_2) < 1e-3);
  assert.deepEqual(keysTwist(["ArrowUp", "KeyS"]), STILL);
  assert.deepEqual(keysTwist(["KeyQ", "ArrowUp"]), { forward: 1, left: 0, turn: 1 });
  assert.deepEqual(keysTwist(["KeyZ"]), STILL);
});

test("pad and strip together walk and turn at once, never beyond the whole", () => {
  const both = together([
    { forward: 1, left: 0, turn: 0 },
    { forward: 0.5, left: 0, turn: 0.75 },
    { forward: 0, left: 0, turn: 0.75 },
  ]);
  assert.deepEqual(both, { forward: 1, left: 0, turn: 1 });
});

function sender() {
  const clock = new HandClock();
  const said: { at: number; drive: Drive }[] = [];
  return { clock, said, drive: new DriveSender((drive) => said.push({ at: clock.now(), drive }), clock) };
}

const AHEAD = { forward: 1, left: 0, turn: 0 };

test("the first touch goes out at once, and is repeated at 10 Hz while held", () => {
  const { clock, said, drive } = sender();
  drive.hold("pad", AHEAD);
  assert.equal(said.length, 1);
  clock.pass(1000);
  assert.equal(said.length, 11);
  assert.equal(REPEAT_MS, 100);
});

test("letting go says still once, at once, and nothing after", () => {
  const { clock, said, drive } = sender();
  drive.hold("pad", AHEAD);
  clock.pass(250);
  drive.letGo("pad");
  assert.deepEqual(said.at(-1), { at: 250, drive: { type: "drive", ...STILL } });
  const count = said.length;
  clock.pass(5000);
  drive.letGo("pad");
  drive.letGoAll();
  assert.equal(said.length, count);
});

test("one hand off the strip walks on; both off stand", () => {
  const { clock, said, drive } = sender();
  drive.hold("pad", AHEAD);
  drive.hold("strip", { forward: 0, left: 0, turn: 0.5 });
  clock.pass(50);
  assert.deepEqual(said.at(-1)?.drive, { type: "drive", forward: 1, left: 0, turn: 0.5 });
  drive.letGo("strip");
  clock.pass(50);
  assert.deepEqual(said.at(-1)?.drive, { type: "drive", ...AHEAD });
  drive.letGo("pad");
  assert.deepEqual(said.at(-1)?.drive, { type: "drive", ...STILL });
});

test("a thumb that moves all the time is passed on, but does not flood; the last is never lost", () => {
  const { clock, said, drive } = sender();
  for (let i = 0; i <= 200; i++) {
    drive.hold("pad", { forward: i / 200, left: 0, turn: 0 });
    clock.pass(5);
  }
  assert.ok(said.length >= 20 && said.length <= 30, `${said.length} in a second`);
  clock.pass(40);
  assert.equal(said.at(-1)?.drive.forward, 1);
  for (const [i, { at }] of said.entries()) assert.ok(i === 0 || at - (said[i - 1]?.at ?? 0) <= REPEAT_MS);
});
