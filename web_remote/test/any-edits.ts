/**
 * Makes edits at random and prints every document that follows, one JSON line each, for
 * tests/author/test_edits_anything.py to read with the Python models. Reads one JSON object:
 * `{house, starts: [document], seeds: [number], edits: number}`. Exits 1 where undoing does not lead back.
 */

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { APPROACHES } from "../src/author/approach.ts";
import { BODY_AXES, type Channel, channels, FOOT_AXES, fresh, laneOf, msOf, type Pose, type SequenceFile, writeText } from "../src/author/document.ts";
import { type Action, type Clip, copy, type House, type Mark, placedCues, placedKeys, placedWalks, type Sheet, sheetOf, Unable } from "../src/author/edits.ts";
import { begin, type History, perform, redo, undo } from "../src/author/history.ts";

interface Task {
  house: House;
  starts: SequenceFile[];
  seeds: number[];
  edits: number;
}

const task = JSON.parse(readFileSync(0, "utf8")) as Task;

/** Small and repeatable: the generator of Park & Miller, Comm. ACM 31(10), 1988. */
class Dice {
  #now: number;
  constructor(seed: number) {
    this.#now = (seed % 2147483646) + 1;
  }
  share(): number {
    this.#now = (this.#now * 48271) % 2147483647;
    return this.#now / 2147483647;
  }
  from(low: number, high: number): number {
    return low + (high - low) * this.share();
  }
  chance(share: number): boolean {
    return this.share() < share;
  }
  one<T>(items: readonly T[]): T {
    return items[Math.floor(this.share() * items.length * 0.999999)] as T;
  }
  some<T>(items: readonly T[]): T[] {
    const share = this.share();
    return items.filter(() => this.chance(share));
  }
}

class Hand {
  readonly dice: Dice;
  readonly house: House;
  clip: Clip = [];
  constructor(house: House, seed: number) {
    this.house = house;
    this.dice = new Dice(seed);
  }

  /** Mostly sensible, sometimes far beyond all bounds or no number at all. */
  value(size: number): number {
    const { dice } = this;
    if (dice.chance(0.02)) return dice.one([Number.NaN, Infinity, -Infinity, 1e12, -1e12, -0]);
    return dice.chance(0.3) ? Math.round(dice.from(-size, size)) : dice.from(-size, size);
  }

  time(sheet: Sheet): number {
    const { dice } = this;
    const keys = placedKeys(sheet);
    // Where something is already: that is where times collide.
    if (keys.length > 0 && dice.chance(0.3)) return dice.one(keys).ms + dice.one([0, 0, 0.0004, -0.0004, 1, -1]);
    if (dice.chance(0.02)) return dice.one([-500, 3_600_000, 3_599_999.9999, 1e9, Number.NaN]);
    return dice.chance(0.5) ? Math.round(dice.from(0, 10_000)) : dice.from(0, 10_000);
  }

  pose(): Pose {
    const { dice, house } = this;
    const body = Object.fromEntries(dice.some(BODY_AXES).map((axis) => [axis, this.value(40)]));
    const legs = dice.some(house.robot.legs).map(({ name }) => name);
    const feet = Object.fromEntries(legs.map((leg) => [leg, Object.fromEntries(dice.some(FOOT_AXES).map((a) => [a, this.value(60)]))]));
    const joints = Object.fromEntries((dice.chance(0.4) ? dice.some(house.robot.joints) : []).map((joint) => [joint, this.value(120)]));
    if (dice.chance(0.01)) joints["no.such.joint"] = 1;
    return { ...(Object.keys(body).length > 0 && { body }), ...(legs.length > 0 && { feet }), ...(Object.keys(joints).length > 0 && { joints_deg: joints }) };
  }

  walk(): { gait?: string; forward_mm_s?: number; cycle_ms?: number; lift_mm?: number; turn_deg_s?: number } {
    const { dice, house } = this;
    return {
      ...(dice.chance(0.5) && { gait: dice.chance(0.05) ? "hop" : dice.one(house.maker.gaits).name }),
      forward_mm_s: this.value(30),
      ...(dice.chance(0.5) && { turn_deg_s: this.value(10) }),
      ...(dice.chance(0.3) && { cycle_ms: this.value(3000) }),
      ...(dice.chance(0.3) && { lift_mm: this.value(40) }),
    };
  }

  cue(): { output: string; level: number; fade_ms?: number; for_ms?: number } {
    const { dice, house } = this;
    return {
      output: dice.chance(0.03) ? "trumpet" : dice.one(house.robot.outputs).name,
      level: this.value(1.2),
      ...(dice.chance(0.5) && { fade_ms: Math.abs(this.value(900)) }),
      ...(dice.chance(0.5) && { for_ms: this.value(900) }),
    };
  }

  marks(sheet: Sheet): Mark[] {
    const { dice } = this;
    return dice.some(placedKeys(sheet)).flatMap(({ id, key }): Mark[] => {
      if (dice.chance(0.5)) return [{ key: id }];
      const lanes = [...new Set([...channels(key).keys()].map(laneOf))];
      return dice.some(lanes).map((lane) => ({ key: id, lane }));
    });
  }

  action(sheet: Sheet): Action {
    const { dice, house } = this;
    const keys = placedKeys(sheet).map(({ id }) => id);
    const id = keys.length > 0 ? dice.one(keys) : 0;
    const one = (made: () => Action): (() => Action) => made;
    const leg = dice.one(house.robot.legs).name;
    const names = [...Object.keys(sheet.doc.poses ?? {}), ...Object.keys(house.poses), "nothing"];
    const found = (sheet.doc.keyframes ?? []).flatMap((key) => [...channels(key).keys()]);
    return dice.one([
      one(() => ({ do: "key", at_ms: this.time(sheet), pose: this.pose() })),
      one(() => ({ do: "key", at_ms: this.time(sheet), pose: this.pose(), approach: dice.one([...APPROACHES, "bounce"]) })),
      one(() => ({ do: "key", at_ms: this.time(sheet), pose: this.pose() })),
      one(() => ({ do: "key", at_ms: this.time(sheet), pose: this.pose(), free: dice.some(found as Channel[]) })),
      one(() => ({ do: "set", key: id, pose: this.pose() })),
      one(() => ({ do: "unkey", keys: dice.some(keys), channels: dice.some(found as Channel[]) })),
      one(() => ({ do: "remove", marks: this.marks(sheet) })),
      one(() => ({ do: "move", marks: this.marks(sheet), by_ms: this.value(2000) })),
      one(() => ({ do: "move", marks: this.marks(sheet), by_ms: this.time(sheet) - this.time(sheet) })),
      one(() => {
        const marks = this.marks(sheet);
        if (marks.length > 0) this.clip = copy(sheet, marks, house);
        return { do: "paste", clip: this.clip, at_ms: this.time(sheet) };
      }),
      one(() => ({ do: "approach", keys: dice.some(keys), approach: dice.one([...APPROACHES, "cubic-bezier(0.2, 0, 0.1, 1)", "steps(3, jump-none)", "steps(0)"]) })),
      one(() => ({ do: "stretch", from_ms: this.time(sheet), to_ms: this.time(sheet), factor: dice.from(0, 3) })),
      one(() => ({ do: "insert", at_ms: this.time(sheet), ms: this.value(1500) })),
      one(() => ({ do: "trim", from_ms: this.time(sheet), to_ms: this.time(sheet) })),
      one(() => ({ do: "end", at_ms: dice.chance(0.3) ? null : this.time(sheet) })),
      one(() => ({ do: "beats", tempo_bpm: dice.from(5, 420) })),
      one(() => ({ do: "milliseconds" })),
      one(() => ({ do: "tempo", tempo_bpm: dice.from(5, 420) })),
      one(() => ({ do: "walk", from_ms: this.time(sheet), to_ms: this.time(sheet) + 2000, walk: this.walk() })),
      one(() => ({ do: "set-walk", walk: dice.one(placedWalks(sheet))?.id ?? 0, from_ms: this.time(sheet), set: this.walk() })),
      one(() => ({ do: "set-walk", walk: dice.one(placedWalks(sheet))?.id ?? 0, to_ms: this.time(sheet) })),
      one(() => ({ do: "remove-walks", walks: dice.some(placedWalks(sheet)).map((w) => w.id) })),
      one(() => ({ do: "cue", at_ms: this.time(sheet), cue: this.cue() })),
      one(() => ({ do: "set-cue", cue: dice.one(placedCues(sheet))?.id ?? 0, at_ms: this.time(sheet), set: this.cue(), for_ever: dice.chance(0.2) })),
      one(() => ({ do: "remove-cues", cues: dice.some(placedCues(sheet)).map((c) => c.id) })),
      one(() => ({ do: "name-pose", name: dice.one(["up", "down", "-bad"]), pose: dice.chance(0.3) ? null : this.pose() })),
      one(() => ({ do: "use-pose", key: id, name: dice.chance(0.2) ? null : dice.one(names) })),
      one(() => ({ do: "mirror", keys: dice.some(keys) })),
      one(() => ({ do: "copy-leg", key: id, from: leg, to: dice.one(["opposite", "all"] as const) })),
      one(() => ({ do: "rest", key: id, what: dice.one([{ leg }, "left", "right", "body", "all"] as const) })),
      one(() => ({ do: "ground", key: id, legs: dice.some(house.robot.legs).map(({ name }) => name) })),
      one(() => ({ do: "name", name: dice.one(["bow", "x y", " no", ""]) })),
      one(() => ({ do: "about", text: "🌱".repeat(Math.floor(dice.from(0, 2100))) })),
      one(() => ({ do: "sound", sound: dice.chance(0.3) ? null : { name: "drum", at_ms: this.value(500) } })),
      one(() => ({ do: "become", doc: dice.one(task.starts), why: "mended" })),
    ])();
  }
}

const tally: Record<string, number> = {};

function run(start: SequenceFile, seed: number): void {
  const hand = new Hand(task.house, seed);
  const first = sheetOf(start);
  const before = JSON.stringify(first);
  let history: History = begin(first);
  let last: Sheet = first;
  for (let i = 0; i < task.edits; i++) {
    const now = history.now.sheet;
    // Hands let go of what they drag, and take it up again.
    const gesture = hand.dice.chance(0.2) ? `drag ${Math.floor(i / 4)}` : null;
    try {
      history = perform(history, hand.action(now), task.house, gesture);
    } catch (error) {
      if (!(error instanceof Unable)) throw error;
      assert.equal(history.now.sheet, now, "a refused edit changes nothing");
      tally["refused"] = (tally["refused"] ?? 0) + 1;
      continue;
    }
    const sheet = history.now.sheet;
    if (sheet === last) continue;
    last = sheet;
    tally[history.now.did] = (tally[history.now.did] ?? 0) + 1;
    const { doc, ids } = sheet;
    for (const [list, numbers] of [[doc.keyframes, ids.keys], [doc.walks, ids.walks], [doc.cues, ids.cues]] as const) {
      assert.equal(list?.length ?? 0, numbers.length);
      assert.equal(new Set(numbers).size, numbers.length, "every part has a number of its own");
      assert.ok(numbers.every((id) => id < sheet.next));
    }
    const times = placedKeys(sheet).map(({ key }) => msOf(doc, key));
    assert.ok(times.every((ms, k) => k === 0 || ms > (times[k - 1] as number)));
    process.stdout.write(`${writeText(doc)}\n`);
  }
  const end = history.now.sheet;
  const steps = history.past.length;
  while (history.past.length > 0) history = undo(history);
  assert.equal(history.now.sheet, first, "undo leads back to the exact start");
  assert.equal(JSON.stringify(history.now.sheet), before, "which nothing has changed in place");
  for (let i = 0; i < steps; i++) history = redo(history);
  assert.equal(history.now.sheet, end);
}

for (const seed of task.seeds) run(task.starts[seed % (task.starts.length + 1)] ?? fresh("new"), seed);
process.stdout.write(`${JSON.stringify({ tally })}\n`);
