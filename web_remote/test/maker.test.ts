import assert from "node:assert/strict";
import { test } from "node:test";
import { signal } from "@preact/signals";
import { Maker } from "../src/author/client.ts";
import { Journal } from "../src/author/journal.ts";
import { fresh, writeText } from "../src/author/document.ts";
import { poserOf } from "../src/author/posing/poser.ts";
import { momentAt, patched } from "../src/author/preview.ts";
import type { Connection } from "../src/link.ts";
import type { Draft, FindingInfo, FromBrowser, Judged, PreviewInfo } from "../src/messages.gen.ts";
import { HandClock } from "./hands.ts";
import { HOUSE, opened } from "./making.ts";

class Shelf {
  kept = new Map<string, string>();
  getItem = (key: string): string | null => this.kept.get(key) ?? null;
  setItem = (key: string, value: string): void => void this.kept.set(key, value);
  removeItem = (key: string): void => void this.kept.delete(key);
}

function page(shelf = new Shelf()) {
  const clock = new HandClock();
  const sent: FromBrowser[] = [];
  const told: string[] = [];
  const connection = signal<Connection>({ phase: "live" });
  const maker = new Maker({
    send: (message) => {
      if (connection.value.phase !== "live") return false;
      sent.push(message);
      return true;
    },
    connection,
    robot: signal(HOUSE.robot),
    tell: (_level, text) => told.push(text),
    clock,
    next: (callback) => clock.after(16, callback),
    journal: new Journal(shelf, () => 0.5),
  });
  const drafts = (): Draft[] => sent.filter((m): m is Draft => m.type === "draft");
  return { clock, sent, told, connection, maker, drafts, shelf };
}

function judged(n: number, some: Partial<Judged> = {}): Judged {
  return { type: "judged", name: "bow", n, place: "", problem: "", fits: true, duration_s: 2, findings: [], preview: null, advising: false, partly: false, took_ms: 40, ...some };
}

const key = (x_mm: number) => ({ do: "key", at_ms: 500, pose: { body: { x_mm } } }) as const;

test("a new move begins with something that can be judged, and each edit goes to the hub once", () => {
  const { maker, drafts } = page();
  maker.open("bow");
  maker.receive(opened());
  assert.equal(drafts().length, 1);
  assert.deepEqual([drafts()[0]?.n, drafts()[0]?.keep, drafts()[0]?.whole], [0, false, true]);
  maker.receive(judged(0));
  maker.do(key(1));
  assert.deepEqual([drafts()[1]?.n, drafts()[1]?.keep, drafts()[1]?.whole], [1, true, true], "it has no preview yet");
  assert.ok(!maker.safe.value);
  maker.receive({ type: "kept", name: "bow", n: 1 });
  assert.ok(maker.safe.value);
});

test("while one draft is on its way the next edits wait, and only the newest goes", () => {
  const { maker, drafts } = page();
  maker.open("bow");
  maker.receive(opened());
  for (let x = 1; x <= 9; x++) maker.do(key(x));
  assert.equal(drafts().length, 1);
  maker.receive(judged(0));
  assert.equal(drafts().length, 2);
  assert.equal(drafts()[1]?.n, 9);
  assert.match(drafts()[1]?.text ?? "", /"x_mm":9/);
  maker.receive(judged(9));
  assert.equal(drafts().length, 2);
  assert.ok(!maker.stale.value);
});

test("a verdict comes at once, and what would mend it when it has been found", () => {
  const { maker, drafts } = page();
  maker.open("bow");
  maker.receive(opened());
  maker.receive(judged(0));
  maker.do(key(1));
  const wrong = { rule: "reach", severity: "error", start_s: 1, end_s: 2, subject: null, value: 1, limit: 0, unit: "mm", advice: "", remedies: [] } as const;
  maker.receive(judged(1, { fits: false, findings: [{ ...wrong, remedies: [] }], advising: true }));
  assert.ok(!maker.stale.value);
  const sent = drafts().length;
  maker.receive(judged(1, { fits: false, findings: [{ ...wrong, remedies: [], advice: "lower the body by 8 mm" }] }));
  assert.equal(maker.judged.value?.findings[0]?.advice, "lower the body by 8 mm");
  assert.equal(drafts().length, sent, "nothing is asked for again");
  maker.do(key(2));
  maker.receive(judged(1, { fits: false }));
  assert.ok(maker.stale.value, "late advice is not taken for a verdict on the newest edit");
});

test("what an edit has done where it was made is shown at once, and is no verdict until all of it is checked", () => {
  const { maker, drafts } = page();
  maker.open("bow");
  maker.receive(opened());
  maker.receive(judged(0));
  maker.do(key(1));
  const wrong = { rule: "reach", severity: "error", start_s: 1, end_s: 2, subject: null, value: 1, limit: 0, unit: "mm", advice: "", remedies: [] } as const;
  maker.receive(judged(1, { fits: false, findings: [{ ...wrong, remedies: [] }], advising: true, partly: true }));
  assert.equal(maker.judged.value?.findings.length, 1);
  assert.ok(maker.stale.value);
  maker.do(key(2));
  assert.equal(drafts().at(-1)?.n, 2, "the next edit does not wait for the rest");
  maker.receive(judged(2, { partly: true, advising: true }));
  maker.receive(judged(2));
  assert.ok(!maker.stale.value);
});

test("a drag is judged as it goes, and kept when the hand lets go", () => {
  const { maker, drafts } = page();
  maker.open("bow");
  maker.receive(opened());
  maker.receive(judged(0));
  maker.do(key(1), "drag");
  maker.receive(judged(1));
  maker.do(key(2), "drag");
  maker.receive(judged(2));
  assert.deepEqual(drafts().map(({ keep }) => keep), [false, false, false]);
  maker.settle();
  assert.equal(drafts().at(-1)?.keep, true);
  assert.equal(drafts().at(-1)?.n, 2);
  maker.undo();
  assert.ok(!maker.canUndo.value, "the drag was one step");
});

test("a performance that goes on for too long ends by itself, and can be kept", (t) => {
  t.mock.timers.enable({ apis: ["setInterval"] });
  let now = 0;
  t.mock.method(performance, "now", () => now);
  const { maker } = page();
  maker.open("bow");
  maker.receive(opened());
  const { performer } = poserOf(maker);
  performer.begin();
  performer.course.value = { forward_mm_s: 10, left_mm_s: 0, turn_deg_s: 0 };
  for (; now < 122_000; now += 40) t.mock.timers.tick(40);
  assert.equal(performer.shows.value?.phase, "done");
  assert.equal(maker.doc.value?.walks?.[0]?.forward_mm_s, 10);
  performer.keep();
  assert.ok(!performer.runs);
  maker.undo();
  assert.equal(maker.doc.value?.walks, undefined, "all of it was one step");
});

test("a lost draft is sent again, whole", () => {
  const { maker, drafts, clock } = page();
  maker.open("bow");
  maker.receive(opened());
  maker.do(key(1));
  clock.pass(6000);
  assert.deepEqual([drafts().length, drafts()[1]?.n, drafts()[1]?.whole, drafts()[1]?.keep], [2, 1, true, true]);
});

test("edits go on while the hub is away, and are brought over when it is back", () => {
  const { maker, drafts, connection, sent } = page();
  maker.open("bow");
  maker.receive(opened());
  maker.receive(judged(0));
  connection.value = { phase: "lost", why: "" };
  maker.do(key(1));
  maker.do(key(2));
  assert.equal(drafts().length, 1);
  connection.value = { phase: "live" };
  assert.equal(sent.at(-1)?.type, "open_move");
  maker.receive(opened());
  assert.deepEqual([drafts()[1]?.n, drafts()[1]?.keep, drafts()[1]?.whole], [2, true, true]);
  assert.equal(maker.changed.value, null);
  assert.ok(maker.canUndo.value, "and the steps of this visit are still there");
});

test("edits of a page that was closed while the hub was away are there on the next visit; undo leads to what is saved", () => {
  const before = page();
  const saved = writeText(fresh("bow"));
  before.maker.open("bow");
  before.maker.receive(opened({ text: saved, version: "v1" }));
  before.maker.receive(judged(0));
  before.connection.value = { phase: "lost", why: "" };
  before.maker.do(key(7));
  before.clock.pass(1000);
  const after = page(before.shelf);
  after.maker.open("bow");
  after.maker.receive(opened({ text: saved, version: "v1" }));
  assert.match(writeText(after.maker.doc.value ?? fresh("")), /"x_mm":7/);
  assert.equal(after.drafts()[0]?.keep, true);
  after.maker.undo();
  assert.equal(writeText(after.maker.doc.value ?? fresh("")), saved);
});

test("what the hub has on its disk needs no place in this browser", () => {
  const { maker, clock, shelf } = page();
  maker.open("bow");
  maker.receive(opened());
  maker.do(key(1));
  clock.pass(1000);
  assert.ok([...shelf.kept.keys()].some((name) => name.includes("edits")));
  maker.receive({ type: "kept", name: "bow", n: 1 });
  assert.ok(![...shelf.kept.keys()].some((name) => name.includes("edits")));
});

test("a save that came second is told who was first, and can go either way", () => {
  const { maker, sent } = page();
  maker.open("bow");
  maker.receive(opened({ text: writeText(fresh("bow")), version: "v1" }));
  maker.do(key(1));
  maker.save();
  const theirs = writeText({ ...fresh("bow"), about: "theirs" });
  maker.receive({ type: "conflict", name: "bow", version: "v2", text: theirs, words: "Kim saved bow at 10:12" });
  assert.equal(maker.conflict.value?.words, "Kim saved bow at 10:12");
  maker.keepMine();
  const again = sent.at(-1);
  assert.ok(again?.type === "save_move" && again.base === "v2");
  maker.receive({ type: "conflict", name: "bow", version: "v3", text: theirs, words: "" });
  maker.takeTheirs();
  assert.equal(maker.doc.value?.about, "theirs");
  maker.undo();
  assert.match(writeText(maker.doc.value ?? fresh("")), /"x_mm":1/);
});

test("a mend is one step that can be undone; one that comes too late is left", () => {
  const { maker, told } = page();
  const finding: FindingInfo = { rule: "reach", severity: "error", start_s: 0.5, end_s: 0.6, subject: "lf", value: 1, limit: 0, unit: "mm", advice: "", remedies: [] };
  maker.open("bow");
  maker.receive(opened());
  maker.do(key(1));
  maker.mend(finding, "foot");
  maker.receive({ type: "mended", name: "bow", n: 1, text: writeText({ ...fresh("bow"), about: "mended" }), words: "done", left: false });
  assert.equal(maker.doc.value?.about, "mended");
  maker.undo();
  assert.match(writeText(maker.doc.value ?? fresh("")), /"x_mm":1/);
  maker.mend(finding, "foot");
  maker.do(key(2));
  maker.receive({ type: "mended", name: "bow", n: 3, text: writeText(fresh("bow")), words: "", left: false });
  assert.match(writeText(maker.doc.value ?? fresh("")), /"x_mm":2/);
  assert.equal(told.length, 1);
});

test("saved is what was sent; what was done meanwhile is a draft on top of it", () => {
  const { maker, drafts } = page();
  maker.open("bow");
  maker.receive(opened());
  maker.receive(judged(0));
  maker.do(key(1));
  maker.receive(judged(1));
  assert.ok(maker.dirty.value);
  maker.save();
  maker.do(key(2));
  maker.receive(judged(2));
  maker.receive({ type: "saved", name: "bow", version: "v1" });
  assert.ok(maker.dirty.value);
  assert.equal(drafts().at(-1)?.base, "v1");
  maker.undo();
  assert.ok(!maker.dirty.value);
});

function info(joints: number[], first: number, frames: number, since: number): PreviewInfo {
  const count = joints.length;
  const bytes = (array: ArrayBufferView): Uint8Array => new Uint8Array(array.buffer);
  // At an odd place, as MessagePack gives it.
  const shifted = (array: ArrayBufferView): Uint8Array => {
    const own = bytes(array);
    const all = new Uint8Array(own.length + 1);
    all.set(own, 1);
    return all.subarray(1);
  };
  return {
    rate_hz: 50,
    frames,
    first,
    since,
    joints: shifted(new Int16Array(joints)),
    body: shifted(new Float32Array(6 * count)),
    com: shifted(new Float32Array(2 * count)),
    down: new Uint8Array(count).fill(5),
    outputs: new Uint8Array(count),
    margin: shifted(new Int16Array(count)),
    amps: shifted(new Uint16Array(count)),
    load: new Uint8Array(count),
  };
}

test("a preview is put together from what has changed, also when it became longer or shorter", () => {
  const whole = patched(info([0, 100, 200, 300, 400], 0, 5, -1), null);
  const longer = patched(info([150, 160, 170], 2, 7, 0), whole);
  assert.deepEqual([...(longer?.joints ?? [])], [0, 100, 150, 160, 170, 300, 400]);
  const shorter = patched(info([], 1, 3, 1), longer);
  assert.deepEqual([...(shorter?.joints ?? [])], [0, 300, 400]);
  assert.equal(patched(info([1], 0, 5, 3), null), null, "a change of what is not there is none");
});

test("between two frames a moment lies in proportion, and its feet are those of the nearer one", () => {
  const whole = patched(info([0, 100, 200], 0, 3, -1), null);
  assert.ok(whole);
  assert.equal(momentAt(whole, 30, 3).joints_deg[0], 1.5);
  assert.deepEqual(momentAt(whole, 30, 3).down, [true, false, true]);
  assert.equal(momentAt(whole, 1e6, 3).joints_deg[0], 2);
});

test("the player plays once, over and over, slowly, and frame by frame", () => {
  const { maker, clock } = page();
  maker.open("bow");
  maker.receive(opened());
  const { player } = maker;
  player.speed.value = 0.5;
  player.play();
  clock.pass(1000);
  assert.ok(Math.abs(player.at.value - 500) < 20);
  clock.pass(4000);
  assert.ok(!player.playing.value);
  assert.equal(player.at.value, 2000);
  player.loop.value = [300, 700];
  player.play();
  clock.pass(5000);
  assert.ok(player.playing.value && player.at.value >= 300 && player.at.value <= 700);
  player.step(1, 50);
  assert.ok(!player.playing.value);
  const before = player.at.value;
  player.step(-1, 50);
  assert.ok(Math.abs(before - player.at.value - 20) < 1e-6);
});
