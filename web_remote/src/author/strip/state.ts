/** What a hand on the strip works with: what is chosen, where the eye is, and what can be done with both. */

import { computed, type ReadonlySignal, signal } from "@preact/signals";
import type { FindingInfo } from "../../messages.gen.ts";
import type { Maker } from "../client.ts";
import { BODY_AXES, channels, type Channel, type Lane, laneOf, type Pose, poseOf, wholePose } from "../document.ts";
import { keyOf, type Mark, placedKeys } from "../edits.ts";
import { poseAt, type Tracks, tracksOf } from "../tracks.ts";
import { type Item, lanesOf, type Row, rowsOf } from "./rows.ts";
import { saidTime, View } from "./view.ts";

/** A place in the strip: a row, and in it an item, or its name (id -1). */
export interface Spot {
  readonly row: string;
  readonly id: number;
}

export type Drawer = "chosen" | "time" | "measure" | "curves" | "path" | "sound";

/** Times that are the same after rounding to the document's measure. */
const SAME_MS = 0.6;

export class StripState {
  readonly view: View;
  readonly active = signal<Spot>({ row: "whole", id: -1 });
  /** Where the next one chosen with Shift reaches from. */
  #anchor: Spot | null = null;
  /** Fingers draw a box instead of moving the strip. */
  readonly boxing = signal(false);
  /** The box that is being drawn, in pixels of the picture. */
  readonly box = signal<readonly [number, number, number, number] | null>(null);
  /** Said aloud by screen readers. */
  readonly said = signal("");
  /** What is open under the strip. */
  readonly drawer = signal<Drawer>("chosen");
  readonly looping = signal(false);
  /** What the curve is of. */
  readonly subject = signal("margin");
  readonly rows: ReadonlySignal<readonly Row[]>;
  /** The same, but while a hand drags something as they were before: for what need not keep up with a hand. */
  readonly calm: ReadonlySignal<readonly Row[]>;
  /** The chosen keys, and lanes of keys. */
  readonly #chosen: ReadonlySignal<ReadonlySet<string>>;
  readonly tracks: ReadonlySignal<Tracks | null>;
  readonly findings: ReadonlySignal<readonly FindingInfo[]>;
  /** Decoded loudness of the sound, per hundredth of a second, 0 to 1. */
  readonly loudness = signal<Float32Array | null>(null);
  readonly maker: Maker;
  #drags = 0;

  constructor(maker: Maker) {
    this.maker = maker;
    this.view = new View(() => maker.lengthMs.value);
    this.findings = computed(() => maker.judged.value?.findings ?? []);
    this.rows = computed(() => {
      const [sheet, house] = [maker.sheet.value, maker.house.value];
      return sheet && house ? rowsOf(sheet, house, this.findings.value) : [];
    });
    let last: readonly Row[] = [];
    this.calm = computed(() => {
      const rows = this.rows.value;
      if (!last.length || (maker.history.value?.now.gesture ?? null) === null) last = rows;
      return last;
    });
    this.#chosen = computed(() => new Set(maker.selection.value.map(({ key, lane }) => `${key} ${lane ?? ""}`)));
    this.tracks = computed(() => {
      const [doc, house] = [maker.doc.value, maker.house.value];
      return doc && house ? tracksOf(doc, house) : null;
    });
  }

  /** A word that tells one gesture of the hand from the next, for Undo. */
  gesture(what: string): string {
    return `${what} ${++this.#drags}`;
  }

  row(name = this.active.value.row): Row | undefined {
    return this.rows.value.find((row) => row.name === name);
  }

  item(spot = this.active.value): Item | undefined {
    return this.row(spot.row)?.items.find(({ id }) => id === spot.id);
  }

  /** The finding that is looked at. */
  get finding(): FindingInfo | null {
    const { row, id } = this.active.value;
    return row === "findings" ? (this.findings.value[id] ?? null) : null;
  }

  /** Looks at a finding by its place in the report: there in time, with what can be pressed against it. */
  lookAt(place: number): void {
    const finding = this.findings.value[place];
    if (!finding) return;
    this.maker.player.pause();
    this.maker.player.seek(finding.start_s * 1000);
    this.view.reveal(finding.start_s * 1000);
    this.active.value = { row: "findings", id: place };
    this.drawer.value = "chosen";
  }

  isChosen(row: Row, item: Item): boolean {
    const chosen = this.#chosen.value;
    if (row.kind === "whole") return chosen.has(`${item.id} `);
    if (row.kind === "lane") return chosen.has(`${item.id} `) || chosen.has(`${item.id} ${row.lane}`);
    return this.active.value.row === row.name && this.active.value.id === item.id;
  }

  /** Keys that are chosen, by number, each once. */
  get keys(): number[] {
    return [...new Set(this.maker.selection.value.map(({ key }) => key))];
  }

  // ---------------------------------------------------------------- choosing

  #mark(row: Row, id: number): Mark {
    return row.lane === undefined ? { key: id } : { key: id, lane: row.lane };
  }

  /** Chooses an item: alone, with the others, or with all from the last one on. */
  choose(row: Row, item: Item, how: "only" | "also" | "up to" = "only"): void {
    this.active.value = { row: row.name, id: item.id };
    if (row.kind !== "lane" && row.kind !== "whole") {
      this.maker.selection.value = [];
      this.#anchor = null;
      if (item.to > item.ms + 1) this.view.range.value = [item.ms, item.to];
      return;
    }
    const own = this.#mark(row, item.id);
    const anchor = this.#anchor?.row === row.name ? this.item(this.#anchor) : undefined;
    if (how === "up to" && anchor) {
      const [low, high] = [Math.min(anchor.ms, item.ms), Math.max(anchor.ms, item.ms)];
      this.maker.selection.value = row.items.filter(({ ms }) => ms >= low && ms <= high).map(({ id }) => this.#mark(row, id));
    } else {
      const others = how === "only" ? [] : this.maker.selection.value;
      const there = others.some((mark) => mark.key === own.key && mark.lane === own.lane);
      this.maker.selection.value = there ? others.filter((mark) => mark.key !== own.key || mark.lane !== own.lane) : [...others, own];
      this.#anchor = { row: row.name, id: item.id };
    }
    this.#spread();
  }

  /** Chooses everything within a stretch of time in some rows. */
  chooseWithin(from: number, to: number, rows: readonly Row[]): void {
    const marks: Mark[] = [];
    for (const row of rows) {
      if (row.kind !== "lane" && row.kind !== "whole") continue;
      for (const { id, ms } of row.items) if (ms >= from && ms <= to) marks.push(this.#mark(row, id));
    }
    const whole = new Set(marks.filter(({ lane }) => lane === undefined).map(({ key }) => key));
    this.maker.selection.value = marks.filter(({ key, lane }) => lane === undefined || !whole.has(key));
    this.#spread();
    this.said.value = `${marks.length} chosen`;
  }

  chooseAll(): void {
    const row = this.row("whole");
    if (row) this.chooseWithin(0, Infinity, [row]);
  }

  /** The chosen stretch follows the chosen keys. */
  #spread(): void {
    const times = this.#times();
    const [low, high] = [Math.min(...times), Math.max(...times)];
    this.view.range.value = times.length > 1 && high - low > SAME_MS ? [low, high] : null;
  }

  #times(): number[] {
    const { sheet, selection } = this.maker;
    if (!sheet.value) return [];
    const ids = new Set(selection.value.map(({ key }) => key));
    return placedKeys(sheet.value).filter(({ id }) => ids.has(id)).map(({ ms }) => ms);
  }

  // ---------------------------------------------------------------- moving

  /** Moves what is chosen; call again and again with one gesture and the whole way since `start`. */
  move(start: MoveStart, by: number, gesture: string | null = null): void {
    const { maker } = this;
    const shift = Math.max(by, -start.first);
    if (start.marks.length === 0 || !maker.do({ do: "move", marks: start.marks, by_ms: by }, gesture)) return;
    // A part that left its keyframe is another one now: it is found again by its time.
    const sheet = maker.sheet.value;
    if (!sheet) return;
    const keys = placedKeys(sheet);
    const followed = start.marks.flatMap((mark, i): Mark[] => {
      const wanted = (start.times[i] as number) + shift;
      const there = keys.find(({ ms }) => Math.abs(ms - wanted) < SAME_MS);
      return there ? [{ ...mark, key: there.id }] : [];
    });
    const at = start.marks.findIndex(({ key, lane }) => key === start.active.id && (lane ?? "whole") === start.active.row);
    // While a hand drags, the marks mostly stay the same: then nobody has to look at them again.
    const before = maker.selection.peek();
    const same = before.length === followed.length && followed.every(({ key, lane }, i) => before[i]?.key === key && before[i]?.lane === lane);
    if (!same) maker.selection.value = followed;
    const own = followed[at < 0 ? 0 : at];
    if (own) this.#lookTo(own.lane ?? "whole", own.key);
    this.#spread();
  }

  #lookTo(row: string, id: number): void {
    const now = this.active.peek();
    if (now.row !== row || now.id !== id) this.active.value = { row, id };
  }

  /** What a move begins from. */
  grip(): MoveStart {
    const sheet = this.maker.sheet.value;
    const placed = new Map((sheet ? placedKeys(sheet) : []).map(({ id, ms }) => [id, ms]));
    const marks = this.maker.selection.value.filter(({ key }) => placed.has(key));
    const times = marks.map(({ key }) => placed.get(key) as number);
    return { marks, times, first: Math.min(...times), active: this.active.value };
  }

  nudge(by: number): void {
    const { maker } = this;
    const { row, id } = this.active.value;
    const item = this.item();
    if (row === "walks" && item) {
      const length = item.to - item.ms;
      const from = Math.max(0, item.ms + by);
      maker.do({ do: "set-walk", walk: id, from_ms: from, to_ms: from + length });
    } else if (row === "cues" && item) maker.do({ do: "set-cue", cue: id, at_ms: Math.max(0, item.ms + by) });
    else if (row === "sound" && maker.doc.value?.sound) {
      const { sound } = maker.doc.value;
      maker.do({ do: "sound", sound: { ...sound, at_ms: (sound.at_ms ?? 0) + by } });
    } else this.move(this.grip(), by);
    const now = this.item();
    if (now && maker.doc.value) this.said.value = saidTime(maker.doc.value, now.ms);
  }

  // ---------------------------------------------------------------- making and taking away

  /** Keys what a row says at a time, so that it can be changed there: nothing moves by it. */
  keyHere(row: Row | undefined, at: number): void {
    const { maker } = this;
    const [doc, house, tracks] = [maker.doc.value, maker.house.value, this.tracks.value];
    if (!doc || !house || !tracks) return;
    if (row?.kind === "walks") return this.walkHere(at);
    if (row?.kind === "cues") return this.cueHere(at);
    const lanes = row?.kind === "lane" && row.lane ? [row.lane] : lanesOf(house.robot);
    const now = [...channels(poseAt(tracks, at))].filter(([channel]) => lanes.includes(laneOf(channel)));
    const pose = now.length > 0 ? poseOf(now) : this.#atRest(row?.lane ?? "body");
    if (!maker.do({ do: "key", at_ms: at, pose })) return;
    const made = maker.sheet.value && placedKeys(maker.sheet.value).find(({ ms }) => Math.abs(ms - at) < SAME_MS);
    const own = this.row(row?.lane ?? "whole");
    const item = made && own?.items.find(({ id }) => id === made.id);
    if (own && item) this.choose(own, item);
    this.said.value = `Key at ${saidTime(doc, at)}`;
  }

  #atRest(lane: Lane): Pose {
    const house = this.maker.house.value;
    if (lane === "body") return { body: Object.fromEntries(BODY_AXES.map((axis) => [axis, 0])) };
    const name = lane.slice(lane.indexOf(":") + 1);
    if (lane.startsWith("leg:")) return { feet: { [name]: { x_mm: 0, y_mm: 0, z_mm: 0 } } };
    return { joints_deg: { [name]: house?.maker.rest_deg[house.robot.joints.indexOf(name)] ?? 0 } };
  }

  /** A stretch of walking from a time on, at a quiet pace, as long as there is room. */
  walkHere(at: number): void {
    const { maker } = this;
    const house = maker.house.value;
    if (!house) return;
    const next = Math.min(...(this.row("walks")?.items ?? []).map(({ ms }) => ms).filter((ms) => ms > at), Infinity);
    const [from, to] = this.view.range.value ?? [at, Math.min(at + 4 * house.maker.cycle_ms, next)];
    const gait = house.maker.gaits[0];
    maker.do({ do: "walk", from_ms: from, to_ms: to, walk: { ...(gait && { gait: gait.name }), forward_mm_s: Math.round((gait?.forward_mm_s ?? 60) / 2) } });
    this.#lookAt("walks", from);
  }

  cueHere(at: number): void {
    const output = this.maker.house.value?.robot.outputs[0];
    if (!output) return;
    this.maker.do({ do: "cue", at_ms: at, cue: { output: output.name, level: 1 } });
    this.#lookAt("cues", at);
  }

  #lookAt(name: string, ms: number): void {
    const row = this.row(name);
    const item = row?.items.find((each) => Math.abs(each.ms - ms) < 1);
    if (row && item) this.choose(row, item);
  }

  /** Takes away what is chosen. */
  remove(): void {
    const { maker } = this;
    const { row: name, id } = this.active.value;
    const before = this.item();
    if (name === "walks") maker.do({ do: "remove-walks", walks: [id] });
    else if (name === "cues") maker.do({ do: "remove-cues", cues: [id] });
    else if (name === "sound") maker.do({ do: "sound", sound: null });
    else if (maker.selection.value.length > 0 && maker.do({ do: "remove", marks: maker.selection.value })) maker.selection.value = [];
    else return;
    this.view.range.value = null;
    // The eye stays where it was: on what is nearest now.
    const items = this.row(name)?.items ?? [];
    const near = items.reduce<Item | null>((best, each) => (!best || Math.abs(each.ms - (before?.ms ?? 0)) < Math.abs(best.ms - (before?.ms ?? 0)) ? each : best), null);
    this.active.value = { row: name, id: near?.id ?? -1 };
    this.said.value = "Removed";
  }

  copy(): void {
    this.maker.copy();
    if (this.maker.clip.value.length > 0) this.said.value = `${this.maker.clip.value.length} copied`;
  }

  /** Puts what was copied at a time, and chooses it. */
  paste(at: number): void {
    const { maker } = this;
    const clip = maker.clip.value;
    const last = clip.at(-1);
    if (!last || !maker.do({ do: "paste", clip, at_ms: at }) || !maker.sheet.value) return;
    const ids = placedKeys(maker.sheet.value).filter(({ ms }) => clip.some((each) => Math.abs(at + each.ms - ms) < SAME_MS));
    maker.selection.value = ids.map(({ id }) => ({ key: id }));
    if (ids[0]) this.active.value = { row: "whole", id: ids[0].id };
    this.#spread();
    this.view.reveal(at);
  }

  /** Has the move end at a time; whoever saw all of it still does. */
  endAt(ms: number): void {
    const { view, maker } = this;
    const whole = view.from.peek() === 0 && view.to.peek() >= maker.lengthMs.peek();
    if (maker.do({ do: "end", at_ms: ms }) && whole) view.fit();
  }

  /** How the chosen keys are approached, if all in the same way. */
  get approach(): string | null {
    const sheet = this.maker.sheet.value;
    const found = new Set(this.keys.map((id) => sheet && keyOf(sheet, id)?.approach));
    return found.size === 1 ? ([...found][0] ?? null) : null;
  }

  /** What a chosen key keys, in all. */
  poseOf(id: number): Pose | null {
    const [doc, house, sheet] = [this.maker.doc.value, this.maker.house.value, this.maker.sheet.value];
    const own = sheet && keyOf(sheet, id);
    return doc && house && own ? wholePose(doc, own, house.poses) : null;
  }
}

export interface MoveStart {
  readonly marks: readonly Mark[];
  readonly times: readonly number[];
  readonly first: number;
  readonly active: Spot;
}

const states = new WeakMap<Maker, StripState>();

/** One for each maker: where one was is remembered while other cards are looked at. */
export function stripOf(maker: Maker): StripState {
  let found = states.get(maker);
  if (!found) {
    found = new StripState(maker);
    states.set(maker, found);
  }
  return found;
}

/** The channel of a lane that goes furthest: the one its cord is drawn after. */
export function leadOf(tracks: Tracks, lane: Lane): Channel | null {
  let [best, widest]: [Channel | null, number] = [null, -1];
  for (const [channel, keys] of tracks) {
    if (laneOf(channel) !== lane) continue;
    const values = keys.map(({ value }) => value ?? 0);
    const wide = Math.max(...values) - Math.min(...values);
    if (wide > widest) [best, widest] = [channel, wide];
  }
  return best;
}
