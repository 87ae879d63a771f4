import assert from "node:assert/strict";
import { test } from "node:test";
import { encode } from "@msgpack/msgpack";
import { sample } from "../src/author/posing/sample.ts";
import { legReaches } from "../src/author/reach.ts";
import { guessed, guessedTime, lookAt, tableOfFrames } from "../src/author/bring/table.ts";
import { recall, remember } from "../src/place.ts";
import { HOUSE } from "./making.ts";

test("columns are recognised by their headings, whatever parts them", () => {
  assert.deepEqual(lookAt("a.csv", "\ufefft_s;lf.coxa\n0;1,5\n1;2\n").heads, ["t_s", "lf.coxa"]);
  assert.equal(guessed("left_front.coxa", ["x", "Left front coxa (deg)"]), "Left front coxa (deg)");
  assert.equal(guessed("head", ["header", "junk"]), "");
  assert.deepEqual(guessedTime(["head", "Time (ms)"]), { head: "Time (ms)", milliseconds: true });
  assert.deepEqual(guessedTime(["t_s"]), { head: "t_s", milliseconds: false });
  assert.equal(guessedTime(["tibia"]).head, "");
});

test("what does not fit is refused in words, before anything is sent", () => {
  assert.throws(() => lookAt("a.csv", ""), /empty/);
  assert.throws(() => lookAt("a.csv", "head\n1\n"), /one row/);
  assert.throws(() => lookAt("a.csv", "1,2\n3,4\n5,6\n"), /name the columns/);
  assert.throws(() => tableOfFrames("a.msgpack", new Uint8Array([0xc1])), /no MessagePack/);
  assert.throws(() => tableOfFrames("a.msgpack", encode({ format: "other" })), /motionhub-frames\/1/);
  const ragged = { format: "motionhub-frames/1", rate_hz: 50, joints: ["head"], joints_deg: [[1], [1, 2]] };
  assert.throws(() => tableOfFrames("a.msgpack", encode(ragged)), /row 1/);
});

test("frames come as a table with their time", () => {
  const table = tableOfFrames("a.msgpack", encode({ format: "motionhub-frames/1", rate_hz: 50, joints: ["head"], joints_deg: [[1], [2.5]] }));
  assert.equal(table.text, "t_s,head\n0.00000,1.000\n0.02000,2.500");
});

test("the move to play with keeps its foot within reach", () => {
  const move = sample("try", HOUSE);
  for (const { feet } of move.keyframes ?? []) {
    for (const [name, { x_mm = 0, y_mm = 0, z_mm = 0 }] of Object.entries(feet ?? {})) {
      const leg = HOUSE.robot.legs.findIndex((each) => each.name === name);
      assert.ok(legReaches(HOUSE, [0, 0, 0, 0, 0, 0], leg, [x_mm, y_mm, z_mm]));
    }
  }
  assert.ok((move.keyframes?.length ?? 0) >= 6);
});

test("where one was is kept, and no matter if the browser keeps nothing", () => {
  const kept = new Map<string, string>();
  const store = { getItem: (key: string) => kept.get(key) ?? null, setItem: (key: string, value: string) => void kept.set(key, value) };
  remember(store, { makes: "bow", at_ms: 1200 });
  remember(store, { card: "moves" });
  assert.deepEqual(recall(store), { makes: "bow", at_ms: 1200, card: "moves" });
  kept.set("motionhub.place", "{half");
  assert.deepEqual(recall(store), {});
  assert.deepEqual(recall(null), {});
});
