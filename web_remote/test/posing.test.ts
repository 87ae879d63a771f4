import assert from "node:assert/strict";
import { test } from "node:test";
import type { Vec3 } from "../src/kinematics.ts";
import { channels, fresh, poseOf } from "../src/author/document.ts";
import { apply, sheetOf } from "../src/author/edits.ts";
import { legReaches } from "../src/author/reach.ts";
import { bodyWish, gripsOf, stepOf } from "../src/author/posing/grips.ts";
import { clipOf, keptRows, otherWay, possible, STANDS, walksOf, withPerformance } from "../src/author/posing/performance.ts";
import { bodyReaches, bodyResisting } from "../src/author/posing/reaching.ts";
import { tracksOf, valueAt } from "../src/author/tracks.ts";
import { shape } from "../src/kinematics.ts";
import { HOUSE } from "./making.ts";

const FEET: Vec3[] = HOUSE.robot.legs.map(() => [0, 0, 0]);
const LEGS = [0, 1, 2, 3, 4, 5];

test("the body goes as far as its legs let it, and slides on along that", () => {
  const far = bodyResisting(HOUSE, LEGS, FEET, [0, 0, 0, 0, 0, 0], [0, 0, 500, 0, 0, 0]);
  assert.ok(bodyReaches(HOUSE, far, LEGS, FEET));
  assert.ok(!bodyReaches(HOUSE, [0, 0, far[2] + 0.5, 0, 0, 0], LEGS, FEET), "not short of it");
  // A leg's hip is 84 mm over its foot's centre; stretched it is femur and tibia long, and the coxa aside: by Pythagoras.
  const out = Math.hypot(...([0, 1].map((k) => (HOUSE.maker.rest_feet_mm[0]?.[k] ?? 0) - (HOUSE.robot.legs[0]?.hip_mm[k] ?? 0)) as [number, number])) - 40;
  const most = Math.sqrt((80 + 150) ** 2 - out ** 2) - 84;
  assert.ok(far[2] <= most + 0.1);
  const aside = bodyResisting(HOUSE, LEGS, FEET, far, [20, 0, far[2] + 50, 0, 0, 0]);
  assert.ok(aside[2] <= far[2] + 0.2 && bodyReaches(HOUSE, aside, LEGS, FEET));
});

test("lines between the rows that are kept miss none by more than the error", () => {
  const times = Array.from({ length: 200 }, (_, i) => i * 40);
  const rows = times.map((ms) => [30 * Math.sin(ms / 500), ms < 4000 ? 0 : 12]);
  for (const error of [0.5, 2, 6]) {
    const kept = keptRows(times, rows, error);
    assert.deepEqual([kept[0], kept.at(-1)], [0, 199]);
    rows.forEach((row, i) => {
      const next = Math.max(1, kept.findIndex((k) => k >= i));
      const [a, b] = [kept[next - 1] as number, kept[next] as number];
      const share = ((times[i] as number) - (times[a] as number)) / ((times[b] as number) - (times[a] as number));
      row.forEach((value, k) => {
        const [from, to] = [(rows[a] as number[])[k] as number, (rows[b] as number[])[k] as number];
        assert.ok(Math.abs(from + share * (to - from) - value) <= error + 1e-9);
      });
    });
  }
  assert.ok(keptRows(times, rows, 6).length < keptRows(times, rows, 0.5).length);
  assert.deepEqual(keptRows([0, 40, 80], [[0], [1], [2]], 0.1), [0, 2], "a straight line is its two ends");
});

test("a performance takes the place of what was keyed while it lasts, and of nothing else", () => {
  let sheet = sheetOf(fresh("bow"));
  sheet = apply(sheet, { do: "key", at_ms: 700, pose: { body: { x_mm: 9 }, joints_deg: { head: 20 } } }, HOUSE);
  sheet = apply(sheet, { do: "key", at_ms: 1900, pose: { body: { x_mm: 5 } } }, HOUSE);
  const samples = Array.from({ length: 26 }, (_, i) => ({ ms: i * 40, pose: i < 5 ? {} : { body: { x_mm: (i - 5) * 2 } } }));
  const clip = clipOf(samples, { body: { x_mm: 0 } }, 0, 1000, 0.1);
  const doc = withPerformance(sheet, clip, 400, HOUSE);
  const tracks = tracksOf(doc, HOUSE);
  for (const [ms, wanted] of [[400, 0], [600, 0], [1000, 20], [1400, 40]] as const) {
    assert.ok(Math.abs((valueAt(tracks, "body.x_mm", ms) as number) - wanted) < 0.2, `${ms} ms`);
  }
  assert.equal(valueAt(tracks, "joints_deg.head", 700), 20, "the head was not performed");
  assert.equal(valueAt(tracks, "body.x_mm", 1900), 5, "what comes later stays");
});

test("driving that was performed is walking in the move, as straight lines within an error, in place of what was there", () => {
  const course = (i: number): typeof STANDS => ({ ...STANDS, forward_mm_s: i >= 5 && i < 15 ? (i < 10 ? 20 : 40) : 0, turn_deg_s: i >= 60 && i < 63 ? 9 : 0 });
  const samples = Array.from({ length: 70 }, (_, i) => ({ ms: i * 40, pose: {}, course: course(i) }));
  const cycle = 400;
  // Within 0.1 mm each speed is a stretch, and the feet have two and a half cycles to land; within 2 mm it is one.
  const walks = walksOf(samples, 0, 2760, 0.1, cycle);
  const told = walks.map(({ from_ms, to_ms, forward_mm_s, turn_deg_s }) => [from_ms, to_ms, forward_mm_s, turn_deg_s]);
  assert.deepEqual(told, [[200, 400, 20, 0], [400, 600, 40, 0], [600, 1600, 0, 0], [2400, 2520, 0, 9], [2520, 3520, 0, 0]]);
  assert.deepEqual(walksOf(samples, 0, 1000, 2, cycle).map(({ to_ms, forward_mm_s }) => [to_ms, forward_mm_s]), [[600, 30], [1600, 0]]);
  assert.deepEqual(walksOf(samples, 200, 1000, 2, cycle)[0]?.from_ms, 0, "trimmed, it is earlier");
  // A pause in which the feet could not land parts nothing: it stands meanwhile, and goes on.
  const once = walksOf(samples, 0, 2760, 0.1, 1000).map(({ from_ms, to_ms, forward_mm_s, turn_deg_s }) => [from_ms, to_ms, forward_mm_s, turn_deg_s]);
  assert.deepEqual(once, [[200, 400, 20, 0], [400, 600, 40, 0], [600, 2400, 0, 0], [2400, 2520, 0, 9], [2520, 5020, 0, 0]]);
  let sheet = sheetOf(fresh("bow"));
  sheet = apply(sheet, { do: "walk", from_ms: 500, to_ms: 1200, walk: { forward_mm_s: 5 } }, HOUSE);
  sheet = apply(sheet, { do: "walk", from_ms: 2500, to_ms: 3600, walk: { left_mm_s: 5 } }, HOUSE);
  const doc = withPerformance(sheet, [], 400, HOUSE, walksOf(samples, 0, 1000, 2, cycle));
  assert.deepEqual(doc.walks?.map(({ from_ms, to_ms, forward_mm_s }) => [from_ms, to_ms, forward_mm_s ?? 0]), [[600, 1000, 30], [1000, 2000, 0], [2500, 3600, 0]]);
});

test("a course that asks too much of the feet in all is walked the same way, slower", () => {
  const gait = { forward_mm_s: 100, left_mm_s: 50, turn_deg_s: 20 };
  assert.deepEqual(possible({ forward_mm_s: 60, left_mm_s: -10, turn_deg_s: 4 }, gait), { forward_mm_s: 60, left_mm_s: -10, turn_deg_s: 4 });
  assert.deepEqual(possible({ forward_mm_s: 100, left_mm_s: -50, turn_deg_s: 40 }, gait), { forward_mm_s: 25, left_mm_s: -12.5, turn_deg_s: 10 });
});

test("a foot takes the place of its leg's angles, and angles that of the foot", () => {
  assert.deepEqual(otherWay({ feet: { lf: { z_mm: 3 } } }), ["joints_deg.lf.coxa", "joints_deg.lf.femur", "joints_deg.lf.tibia"]);
  assert.deepEqual(otherWay({ joints_deg: { "lf.coxa": 1, head: 2 } }), ["feet.lf.x_mm", "feet.lf.y_mm", "feet.lf.z_mm"]);
  const joints = poseOf([["joints_deg.lf.coxa", 3], ["joints_deg.lf.femur", 40], ["joints_deg.lf.tibia", -90]]);
  let sheet = apply(sheetOf(fresh("bow")), { do: "key", at_ms: 500, pose: joints }, HOUSE);
  const foot = { feet: { lf: { x_mm: 0, y_mm: 0, z_mm: 30 } } };
  sheet = apply(sheet, { do: "key", at_ms: 500, pose: foot, free: otherWay(foot) }, HOUSE);
  const key = sheet.doc.keyframes?.find(({ at_ms }) => at_ms === 500);
  assert.deepEqual([...channels(key ?? {}).keys()], ["feet.lf.x_mm", "feet.lf.y_mm", "feet.lf.z_mm"]);
});

test("a hand upwards in the picture lifts, and on a bead of the ground goes away from the eye", () => {
  const sight = { mm_per_px: 2, right: [0, -1] as const, away: [1, 0] as const, above: Math.PI / 6 };
  const [, , up] = stepOf("lift", sight, 0, -10);
  assert.ok(Math.abs(up - 20 / Math.cos(Math.PI / 6)) < 1e-9);
  const [on, aside, level] = stepOf("floor", sight, 10, -10);
  assert.ok(Math.abs(on - 40) < 1e-9 && Math.abs(aside + 20) < 1e-9 && level === 0, "sin 30° is a half");
  // REP 103: a mast that goes to the right leans the robot to its right, which is a positive roll.
  const wish = bodyWish("lean", [0, 0, 0, 0, 0, 0], [0, -10, 0], HOUSE.robot);
  assert.ok((wish.roll_deg ?? 0) > 0 && Math.abs(wish.pitch_deg ?? 1) < 1e-9);
  assert.ok((bodyWish("turn", [0, 0, 0, 0, 0, 0], [0, 10, 0], HOUSE.robot).yaw_deg ?? 0) > 0, "its nose to the left is positive");
});

test("everything can be taken hold of, and the part that is held has its own beads", () => {
  assert.equal(gripsOf(HOUSE, "leg:lf").length, 1 + 6 + 1 + HOUSE.robot.extra.length);
  assert.equal(new Set(gripsOf(HOUSE, "body").map(({ id }) => id)).size, gripsOf(HOUSE, "body").length);
  assert.ok(legReaches(HOUSE, [0, 0, 0, 0, 0, 0], 0, [0, 0, 0]));
  assert.equal(shape(HOUSE.robot, HOUSE.maker.rest_deg).legs.length, 6);
});
