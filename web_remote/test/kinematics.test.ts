import assert from "node:assert/strict";
import { test } from "node:test";
import { Euler, Matrix4, Vector3 } from "three";
import {
  attitude,
  extraPoints,
  feetOnGround,
  hull,
  legPoints,
  rotate,
  shape,
  type Vec2,
  type Vec3,
} from "../src/kinematics.ts";
import type { ExtraInfo, LegInfo } from "../src/messages.gen.ts";
import { ROBOT } from "./hands.ts";

const DEG = Math.PI / 180;

/** Small and repeatable: the generator of Park & Miller, Comm. ACM 31(10), 1988. */
function dice(seed: number): (low: number, high: number) => number {
  let now = seed;
  return (low, high) => {
    now = (now * 48271) % 2147483647;
    return low + ((high - low) * now) / 2147483647;
  };
}

function near(a: readonly number[], b: readonly number[], by = 1e-9): void {
  assert.equal(a.length, b.length);
  a.forEach((x, i) => {
    assert.ok(Math.abs(x - (b[i] ?? Number.NaN)) <= by, `${a} is not ${b}`);
  });
}

const [LEG] = ROBOT.legs as [LegInfo];

test("a leg at zero is a straight line along its heading", () => {
  const points = legPoints(LEG, 0, 0, 0);
  near(points[0], [10, 20, 5]);
  near(points[1], [10, 60, 5]);
  near(points[2], [10, 130, 5]);
  near(points[3], [10, 240, 5]);
});

test("positive femur lifts; the tibia hangs straight down when it takes that back and 90 more", () => {
  near(legPoints(LEG, 0, 90, 0)[3], [10, 60, 185]);
  near(legPoints(LEG, 0, 30, -120)[3], [10, 60 + 70 * Math.cos(30 * DEG), 5 + 35 - 110]);
});

test("positive coxa turns to the left: from heading 90 towards -x", () => {
  near(legPoints(LEG, 90, 0, 0)[3], [-210, 20, 5]);
});

test("legs agree with the same joints as a chain of three.js matrices", () => {
  const roll = dice(7);
  for (let i = 0; i < 200; i++) {
    const leg: LegInfo = {
      ...LEG,
      hip_mm: [roll(-100, 100), roll(-100, 100), roll(-20, 20)],
      heading_deg: roll(-180, 180),
    };
    const [c, f, t] = [roll(-90, 90), roll(-90, 90), roll(-160, 10)];
    const chain = new Matrix4()
      .makeTranslation(...leg.hip_mm)
      .multiply(new Matrix4().makeRotationZ((leg.heading_deg + c) * DEG))
      .multiply(new Matrix4().makeTranslation(leg.coxa_mm, 0, 0))
      .multiply(new Matrix4().makeRotationY(-f * DEG))
      .multiply(new Matrix4().makeTranslation(leg.femur_mm, 0, 0))
      .multiply(new Matrix4().makeRotationY(-t * DEG))
      .multiply(new Matrix4().makeTranslation(leg.tibia_mm, 0, 0));
    near(legPoints(leg, c, f, t)[3], new Vector3().setFromMatrixPosition(chain).toArray(), 1e-9);
  }
});

test("the body's attitude is Rz(yaw) Ry(pitch) Rx(roll), as three.js has it for order ZYX", () => {
  const roll = dice(11);
  for (let i = 0; i < 100; i++) {
    const [r, p, y] = [roll(-180, 180), roll(-89, 89), roll(-180, 180)];
    const v: Vec3 = [roll(-1, 1), roll(-1, 1), roll(-1, 1)];
    const theirs = new Vector3(...v).applyEuler(new Euler(r * DEG, p * DEG, y * DEG, "ZYX"));
    near(rotate(attitude(r, p, y), v), theirs.toArray(), 1e-12);
  }
});

test("extra joints hang on their parents, whatever the order of the list", () => {
  const neck: ExtraInfo = {
    name: "neck",
    parent: -1,
    at_mm: [100, 0, 20],
    axis: [0, 0, 1],
    tip_mm: [40, 0, 0],
    radius_mm: 5,
  };
  const jaw: ExtraInfo = {
    name: "jaw",
    parent: 0,
    at_mm: [40, 0, 0],
    axis: [0, 1, 0],
    tip_mm: [10, 0, 0],
    radius_mm: 5,
  };
  // Neck to the left by 90, jaw about +y by 90: its x axis points down.
  const [n, j] = extraPoints([neck, jaw], [90, 90]);
  near(n?.[1] ?? [], [100, 40, 20]);
  near(j?.[0] ?? [], [100, 40, 20]);
  near(j?.[1] ?? [], [100, 40, 10]);
  const [j2, n2] = extraPoints([{ ...jaw, parent: 1 }, neck], [90, 90]);
  assert.deepEqual([n2, j2], [n, j]);
});

test("extra joints that are each other's parents do not hang the page", () => {
  const [a, b] = [
    { ...(ROBOT.extra[0] as ExtraInfo), parent: 1 },
    { ...(ROBOT.extra[0] as ExtraInfo), parent: 0 },
  ];
  assert.equal(extraPoints([a, b], [0, 0]).length, 2);
});

test("feet follow the body over the ground", () => {
  // Leg straight to the left, 240 from the middle; a quarter turn to the left points it backwards.
  const [foot] = feetOnGround(shape(ROBOT, [0, 0, 0, 0]), [1000, 500, 80, 0, 0, 90]);
  near(foot ?? [], [1000 - 240, 500 + 10, 85]);
});

test("missing angles count as zero", () => {
  assert.deepEqual(shape(ROBOT, []), shape(ROBOT, [0, 0, 0, 0]));
});

test("the hull has every point on its left or on it, and only points that were given", () => {
  const roll = dice(3);
  for (let i = 0; i < 100; i++) {
    const points = Array.from({ length: 3 + (i % 9) }, (): Vec2 => [roll(-9, 9), roll(-9, 9)]);
    const corners = hull(points);
    corners.forEach((a, k) => {
      const b = corners[(k + 1) % corners.length] as Vec2;
      for (const p of points) {
        assert.ok((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) >= -1e-9);
      }
      assert.ok(points.includes(a));
    });
  }
});

test("a square with points inside and on its edges has four corners", () => {
  const corners = hull([
    [0, 0],
    [2, 0],
    [1, 1],
    [2, 2],
    [0, 2],
    [1, 0],
    [0, 1],
  ]);
  assert.deepEqual(corners, [
    [0, 0],
    [2, 0],
    [2, 2],
    [0, 2],
  ]);
});

test("one or two feet make no polygon, and none makes nothing", () => {
  assert.equal(hull([]).length, 0);
  assert.equal(hull([[1, 2]]).length, 1);
});
