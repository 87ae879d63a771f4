import assert from "node:assert/strict";
import { test } from "node:test";
import { channels, endMs, fresh, msOf, type SequenceFile } from "../src/author/document.ts";
import { type Action, apply, copy, placedCues, placedKeys, placedWalks, type Sheet, sheetOf, Unable } from "../src/author/edits.ts";
import { begin, perform, redo, settle, undo } from "../src/author/history.ts";
import { beyond, footOffsets, posed, resisting } from "../src/author/reach.ts";
import type { Vec3 } from "../src/kinematics.ts";
import { HOUSE } from "./making.ts";

const done = (sheet: Sheet, ...actions: Action[]): Sheet => actions.reduce((now, action) => apply(now, action, HOUSE), sheet);
const times = (sheet: Sheet): number[] => placedKeys(sheet).map(({ ms }) => ms);
const at = (sheet: Sheet, ms: number) => {
  const found = placedKeys(sheet).find((key) => key.ms === ms);
  assert.ok(found, `nothing at ${ms}, but at ${times(sheet)}`);
  return found;
};

const start = (): Sheet =>
  done(
    sheetOf(fresh("bow")),
    { do: "key", at_ms: 400, pose: { body: { z_mm: -10 }, feet: { lf: { z_mm: 30, y_mm: 5 } } } },
    { do: "key", at_ms: 800, pose: { feet: { lf: { z_mm: 0 } }, joints_deg: { head: 12 } }, approach: "ease-in" },
  );

test("keys at a time are added to the keyframe that is there, and make one where none is", () => {
  const sheet = done(start(), { do: "key", at_ms: 400, pose: { body: { x_mm: 4 } } }, { do: "key", at_ms: 100, pose: { body: { x_mm: 1 } } });
  assert.deepEqual(times(sheet), [0, 100, 400, 800]);
  assert.deepEqual(at(sheet, 400).key.body, { z_mm: -10, x_mm: 4 });
});

test("one lane of a keyframe can be dragged away from it, over others, onto another", () => {
  const sheet = start();
  const mark = { key: at(sheet, 400).id, lane: "leg:lf" } as const;
  const apart = done(sheet, { do: "move", marks: [mark], by_ms: 100 });
  assert.deepEqual(times(apart), [0, 400, 500, 800]);
  assert.deepEqual(at(apart, 400).key.feet, undefined);
  assert.deepEqual(at(apart, 500).key.feet, { lf: { z_mm: 30, y_mm: 5 } });
  const onto = done(sheet, { do: "move", marks: [mark], by_ms: 400 });
  assert.deepEqual(times(onto), [0, 400, 800]);
  assert.deepEqual(at(onto, 800).key.feet, { lf: { z_mm: 30, y_mm: 5 } }, "what is moved goes before what was there");
  assert.equal(at(onto, 800).key.joints_deg?.["head"], 12);
  const first = done(sheet, { do: "move", marks: [{ key: at(sheet, 800).id }], by_ms: -5000 });
  assert.deepEqual(times(first), [0, 400], "nothing goes below 0");
});

test("copying and pasting keeps distances, and leaves the others", () => {
  const sheet = start();
  const clip = copy(sheet, [{ key: at(sheet, 400).id }, { key: at(sheet, 800).id, lane: "joint:head" }], HOUSE);
  const more = done(sheet, { do: "paste", clip, at_ms: 1500 });
  assert.deepEqual(times(more), [0, 400, 800, 1500, 1900]);
  assert.deepEqual([...channels(at(more, 1900).key)], [["joints_deg.head", 12]]);
  assert.equal(at(more, 1900).key.approach, "ease-in");
});

test("a stretch of time becomes longer, what comes after moves along, a walk in it keeps its path", () => {
  const walking = done(
    start(),
    { do: "walk", from_ms: 1000, to_ms: 3000, walk: { forward_mm_s: 40 } },
    { do: "cue", at_ms: 3500, cue: { output: "lamp", level: 1 } },
    { do: "stretch", from_ms: 1000, to_ms: 3000, factor: 2 },
  );
  const [walk] = placedWalks(walking);
  assert.deepEqual([walk?.from, walk?.to], [1000, 5000]);
  assert.equal(walk?.walk.forward_mm_s, 20);
  assert.equal(walk?.walk.cycle_ms, 2400);
  assert.equal(placedCues(walking)[0]?.ms, 5500);
  assert.deepEqual(times(walking), [0, 400, 800]);
});

test("inserting time makes room; taking it away takes what lay in it", () => {
  assert.deepEqual(times(done(start(), { do: "insert", at_ms: 400, ms: 250 })), [0, 650, 1050]);
  assert.deepEqual(times(done(start(), { do: "insert", at_ms: 300, ms: -200 })), [0, 600]);
  assert.equal(endMs(done(start(), { do: "insert", at_ms: 300, ms: 100 }).doc), 2100);
});

test("counting in beats moves nothing, and another tempo then moves everything", () => {
  const beats = done(start(), { do: "beats", tempo_bpm: 120 });
  assert.deepEqual(beats.doc.keyframes?.map(({ at_beat }) => at_beat), [0, 0.8, 1.6]);
  assert.equal(beats.doc.end_beat, 4);
  const slower = done(beats, { do: "tempo", tempo_bpm: 60 });
  assert.deepEqual(times(slower), [0, 800, 1600]);
  const back = done(slower, { do: "milliseconds" });
  assert.deepEqual(back.doc.keyframes?.map(({ at_ms }) => at_ms), [0, 800, 1600]);
  assert.equal(back.doc.end_ms, 4000);
});

test("the end goes along with what is put beyond it, and never cuts anything off", () => {
  const longer = done(start(), { do: "key", at_ms: 5000, pose: { body: { x_mm: 1 } } });
  assert.equal(endMs(longer.doc), 5000);
  assert.equal(endMs(done(longer, { do: "end", at_ms: 100 }).doc), 5000);
  assert.equal(done(longer, { do: "end", at_ms: null }).doc.end_ms, undefined);
});

test("walks keep out of each other's way", () => {
  const two = done(
    start(),
    { do: "walk", from_ms: 1000, to_ms: 2000, walk: { forward_mm_s: 40 } },
    { do: "walk", from_ms: 3000, to_ms: 4000, walk: { forward_mm_s: 40 } },
  );
  const [, second] = placedWalks(two);
  const pushed = done(two, { do: "set-walk", walk: second?.id ?? -1, from_ms: 500 });
  assert.deepEqual(placedWalks(pushed).map(({ from, to }) => [from, to]), [[1000, 2000], [2000, 4000]]);
});

test("mirrored twice is as it was; mirrored once, left is right and turns go the other way", () => {
  const sheet = done(start(), { do: "key", at_ms: 600, pose: { body: { y_mm: 8, roll_deg: 3, pitch_deg: 2, yaw_deg: 5 }, joints_deg: { "rm.coxa": 9, "rm.femur": 4, head: 10 } } });
  const { id } = at(sheet, 600);
  const once = done(sheet, { do: "mirror", keys: [id] });
  assert.deepEqual(at(once, 600).key.body, { y_mm: -8, roll_deg: -3, pitch_deg: 2, yaw_deg: -5 });
  assert.deepEqual(at(once, 600).key.joints_deg, { "lm.coxa": -9, "lm.femur": 4, head: -10 });
  assert.deepEqual(at(done(once, { do: "mirror", keys: [id] }), 600).key, at(sheet, 600).key);
  // A mirrored pose puts every foot where the mirror shows it.
  const [pose, other] = [posed(HOUSE, at(sheet, 600).key), posed(HOUSE, at(once, 600).key)];
  const body = [0, 8, 0, 3, 2, 5] as const;
  const feet = footOffsets(HOUSE, pose.joints_deg, body);
  const seen = footOffsets(HOUSE, other.joints_deg, [0, -8, 0, -3, 2, -5]);
  [3, 4, 5, 0, 1, 2].forEach((opposite, leg) => {
    const [x, y, z] = feet[leg] ?? [9, 9, 9];
    for (const [k, value] of [x, -y, z].entries()) assert.ok(Math.abs(value - (seen[opposite]?.[k] ?? 9)) < 1e-9);
  });
});

test("a leg's key is copied to its opposite, or to all: each as far out along its own heading", () => {
  const sheet = done(start(), { do: "key", at_ms: 600, pose: { feet: { lm: { x_mm: 3, y_mm: 20, z_mm: 30 } } } });
  const { id } = at(sheet, 600);
  const opposite = done(sheet, { do: "copy-leg", key: id, from: "lm", to: "opposite" });
  assert.deepEqual(at(opposite, 600).key.feet?.["rm"], { x_mm: 3, y_mm: -20, z_mm: 30 });
  const all = at(done(sheet, { do: "copy-leg", key: id, from: "lm", to: "all" }), 600).key.feet ?? {};
  assert.equal(Object.keys(all).length, 6);
  for (const { name, heading_deg } of HOUSE.robot.legs) {
    const [h, { x_mm = 0, y_mm = 0 }] = [(heading_deg * Math.PI) / 180, all[name] ?? {}];
    assert.ok(Math.abs(x_mm * Math.cos(h) + y_mm * Math.sin(h) - 20) < 0.02, `${name} goes 20 mm outwards`);
  }
});

test("back to rest: a leg's joints are let go, its foot stands", () => {
  const sheet = done(start(), { do: "key", at_ms: 600, pose: { joints_deg: { "lf.coxa": 9, head: 4 }, body: { x_mm: 3 } } });
  const { id } = at(sheet, 600);
  const leg = at(done(sheet, { do: "rest", key: id, what: { leg: "lf" } }), 600).key;
  assert.deepEqual([leg.joints_deg, leg.feet, leg.body], [{ head: 4 }, { lf: { x_mm: 0, y_mm: 0, z_mm: 0 } }, { x_mm: 3 }]);
  const all = at(done(sheet, { do: "rest", key: id, what: "all" }), 600).key;
  assert.deepEqual(posed(HOUSE, all).joints_deg.map((d) => Math.round(d) + 0), HOUSE.maker.rest_deg.map((d) => Math.round(d)));
});

test("named poses: used, changed, and forgotten without changing what they gave", () => {
  const named = done(start(), { do: "name-pose", name: "low", pose: { body: { z_mm: -20 }, joints_deg: { head: 5 } } });
  const { id } = at(named, 400);
  const used = done(named, { do: "use-pose", key: id, name: "low" });
  assert.equal(at(used, 400).key.pose, "low");
  assert.equal(at(used, 400).key.body, undefined, "what it gave itself would hide the pose");
  const apart = done(used, { do: "move", marks: [{ key: id, lane: "joint:head" }], by_ms: 50 });
  assert.deepEqual(at(apart, 450).key.joints_deg, { head: 5 });
  assert.deepEqual(at(apart, 400).key.body, { z_mm: -20 });
  const forgotten = done(used, { do: "name-pose", name: "low", pose: null });
  assert.deepEqual(at(forgotten, 400).key.body, { z_mm: -20 });
  assert.equal(forgotten.doc.poses, undefined);
  assert.equal(at(done(named, { do: "use-pose", key: id, name: "ready" }), 400).key.pose, "ready");
});

test("what cannot be is refused in words, and nothing has changed", () => {
  const sheet = start();
  const before = JSON.stringify(sheet);
  const wrong: Action[] = [
    { do: "remove", marks: placedKeys(sheet).map(({ id }) => ({ key: id })) },
    { do: "key", at_ms: 10, pose: { feet: { no: { x_mm: 1 } } } },
    { do: "key", at_ms: Number.NaN, pose: { body: { x_mm: 1 } } },
    { do: "key", at_ms: 1, pose: { body: { x_mm: Number.NaN } } },
    { do: "approach", keys: [0], approach: "bounce" },
    { do: "stretch", from_ms: 0, to_ms: 100_000, factor: 101 },
    { do: "insert", at_ms: 0, ms: 4_000_000 },
    { do: "cue", at_ms: 1, cue: { output: "trumpet", level: 1 } },
    { do: "walk", from_ms: 0, to_ms: 900, walk: { gait: "hop" } },
    { do: "name", name: "../x" },
  ];
  for (const action of wrong) assert.throws(() => apply(sheet, action, HOUSE), Unable, JSON.stringify(action));
  assert.equal(JSON.stringify(sheet), before);
});

test("a drag is one step; undo leads to the exact objects that there were", () => {
  const first = start();
  let history = begin(first);
  const mark = { key: at(first, 400).id };
  for (const by_ms of [10, 200, 500, 60]) history = perform(history, { do: "move", marks: [mark], by_ms }, HOUSE, "drag");
  assert.deepEqual(times(history.now.sheet), [0, 460, 800], "passing over another key has not eaten it");
  assert.equal(history.past.length, 1);
  history = perform(settle(history), { do: "move", marks: [mark], by_ms: 1 }, HOUSE, "drag");
  assert.equal(history.past.length, 2, "another drag is another step");
  const last = history.now.sheet;
  history = undo(undo(history));
  assert.equal(history.now.sheet, first);
  assert.equal(undo(history), history);
  assert.equal(redo(redo(history)).now.sheet, last);
});

test("what an edit does not touch stays the same object", () => {
  const sheet = start();
  const moved = done(sheet, { do: "move", marks: [{ key: at(sheet, 800).id }], by_ms: 20 });
  assert.equal(moved.doc.keyframes?.[0], sheet.doc.keyframes?.[0]);
  assert.equal(moved.doc.keyframes?.[1], sheet.doc.keyframes?.[1]);
});

test("a foot that is dragged too far stays at its limit, and slides along it", () => {
  const body = [0, 0, 0, 0, 0, 0] as const;
  const near = resisting(HOUSE, body, 1, [0, 0, 0], [4, 10, 20]);
  assert.deepEqual(near, [4, 10, 20], "what is in reach is where it is asked");
  let was: Vec3 = near;
  for (let y = 20; y <= 400; y += 10) {
    const now = resisting(HOUSE, body, 1, was, [4, y, 20]);
    assert.ok(now[1] >= was[1] - 1e-6 && now[1] - was[1] <= 10.001, "never a jump");
    was = now;
  }
  const joints = posed(HOUSE, { feet: { lm: { x_mm: was[0], y_mm: was[1], z_mm: was[2] } } });
  assert.ok((joints.misses_mm[1] ?? 9) < 0.1);
  assert.deepEqual(beyond(HOUSE, joints.joints_deg), []);
});

test("beats and milliseconds agree on when things are", () => {
  const doc: SequenceFile = { format: "motionhub-sequence/1", name: "x", tempo_bpm: 90, keyframes: [{ at_beat: 3, body: { x_mm: 1 } }] };
  assert.equal(msOf(doc, doc.keyframes?.[0] ?? {}), 2000);
});
