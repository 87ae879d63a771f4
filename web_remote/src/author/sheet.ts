/**
 * What is being edited: the document, and a number for each of its parts that stays the same while the part is
 * moved past others. Never changed in place; parts that an edit does not touch are the same objects before and
 * after, so undoing costs nothing and screens redraw what has changed.
 */

import type { MakerInfo, RobotInfo } from "../messages.gen.ts";
import { LONGEST_S, SHORTEST_S } from "./document.gen.ts";
import {
  at,
  beatMs,
  type Channel,
  type Cue,
  channels,
  countsBeats,
  endMs,
  type Keyframe,
  kept,
  msOf,
  naturalEndMs,
  over,
  type Pose,
  type SequenceFile,
  spanOf,
  type WalkStretch,
} from "./document.ts";

/** What the document may name: the robot's parts and the library's poses. */
export interface House {
  robot: RobotInfo;
  maker: MakerInfo;
  poses: Record<string, Pose>;
}

export interface Sheet {
  readonly doc: SequenceFile;
  readonly ids: { readonly keys: readonly number[]; readonly walks: readonly number[]; readonly cues: readonly number[] };
  /** The next number that is free. */
  readonly next: number;
}

/** An edit that cannot be done, with the reason in words for whoever tried. */
export class Unable extends Error {}

/** Edits take this many ms at least between a walk's start and end; whether it is long enough the check says. */
export const SHORTEST_WALK_MS = 20;

export function sheetOf(doc: SequenceFile): Sheet {
  const [keys, walks, cues] = [doc.keyframes?.length ?? 0, doc.walks?.length ?? 0, doc.cues?.length ?? 0];
  const ids = (count: number, from: number): number[] => Array.from({ length: count }, (_, i) => from + i);
  return {
    doc,
    ids: { keys: ids(keys, 0), walks: ids(walks, keys), cues: ids(cues, keys + walks) },
    next: keys + walks + cues,
  };
}

/** A keyframe with its number and time, on its way into a sheet. */
export interface Placed {
  id: number;
  ms: number;
  key: Keyframe;
}

export function placedKeys({ doc, ids }: Sheet): Placed[] {
  return (doc.keyframes ?? []).map((key, i) => ({ id: ids.keys[i] as number, ms: msOf(doc, key), key }));
}

export interface Stretch {
  id: number;
  from: number;
  to: number;
  walk: WalkStretch;
}

export function placedWalks({ doc, ids }: Sheet): Stretch[] {
  return (doc.walks ?? []).map((walk, i) => {
    const [from, to] = spanOf(doc, walk);
    return { id: ids.walks[i] as number, from, to, walk };
  });
}

export interface Cued {
  id: number;
  ms: number;
  cue: Cue;
}

export function placedCues({ doc, ids }: Sheet): Cued[] {
  return (doc.cues ?? []).map((cue, i) => ({ id: ids.cues[i] as number, ms: msOf(doc, cue), cue }));
}

export function keyOf(sheet: Sheet, id: number): Keyframe | undefined {
  return sheet.doc.keyframes?.[sheet.ids.keys.indexOf(id)];
}

const LONGEST_MS = LONGEST_S * 1000;

function clampTime(ms: number): number {
  if (!Number.isFinite(ms)) throw new Unable("That is no time.");
  if (ms > LONGEST_MS) throw new Unable("A move lasts an hour at most.");
  return Math.max(ms, 0);
}

function sameTime(doc: SequenceFile, key: Keyframe, ms: number): boolean {
  const now = at(doc, ms);
  return key.at_ms === now.at_ms && key.at_beat === now.at_beat;
}

/** Whether a keyframe says nothing any more. */
export function isEmpty(key: Keyframe): boolean {
  return key.pose === undefined && channels(key).size === 0;
}

/**
 * The sheet with these keyframes: in order, none without content, and of two at the same time one, in which the
 * later of the list goes before the earlier.
 */
export function withKeys(sheet: Sheet, placed: readonly Placed[], next = sheet.next): Sheet {
  const { doc } = sheet;
  const byTime = new Map<number, Placed>();
  for (const { id, ms, key } of placed) {
    if (isEmpty(key)) continue;
    const when = kept(doc, clampTime(ms));
    const there = byTime.get(when);
    byTime.set(when, { id, ms: when, key: there ? merged(there.key, key) : key });
  }
  const sorted = [...byTime.values()].sort((a, b) => a.ms - b.ms);
  const keyframes = sorted.map(({ ms, key }) => (sameTime(doc, key, ms) ? key : timedKey(doc, key, ms)));
  return settled({ ...sheet, doc: { ...doc, keyframes }, ids: { ...sheet.ids, keys: sorted.map(({ id }) => id) }, next });
}

function timedKey(doc: SequenceFile, key: Keyframe, ms: number): Keyframe {
  const { at_ms: _ms, at_beat: _beat, ...rest } = key;
  return { ...at(doc, ms), ...rest };
}

function merged(lower: Keyframe, upper: Keyframe): Keyframe {
  const pose = upper.pose ?? lower.pose;
  const approach = upper.approach ?? lower.approach;
  // A pose by name lies below both; what the lower one gave itself stays above it.
  return { ...over(lower, upper), ...(pose !== undefined && { pose }), ...(approach !== undefined && { approach }) };
}

/** The sheet with these walks: in order, none over another; one that has no room left is left out. */
export function withWalks(sheet: Sheet, placed: readonly Stretch[], next = sheet.next): Sheet {
  const { doc } = sheet;
  const sorted = [...placed].sort((a, b) => a.from - b.from || a.to - b.to);
  const walks: WalkStretch[] = [];
  const ids: number[] = [];
  let last = 0;
  for (const { id, from, to, walk } of sorted) {
    const start = kept(doc, clampTime(Math.max(from, last)));
    const stop = kept(doc, clampTime(to));
    if (stop - start < SHORTEST_WALK_MS / 2) continue;
    const { from_ms: _a, to_ms: _b, from_beat: _c, to_beat: _d, ...rest } = walk;
    walks.push(sameSpan(doc, walk, start, stop) ? walk : { ...spanned(doc, start, stop), ...rest });
    ids.push(id);
    last = stop;
  }
  return settled({ ...sheet, doc: { ...doc, walks }, ids: { ...sheet.ids, walks: ids }, next });
}

function spanned(doc: SequenceFile, from: number, to: number): Partial<WalkStretch> {
  const [start, stop] = [at(doc, from), at(doc, to)];
  return start.at_beat !== undefined
    ? { from_beat: start.at_beat, to_beat: stop.at_beat as number }
    : { from_ms: start.at_ms as number, to_ms: stop.at_ms as number };
}

function sameSpan(doc: SequenceFile, walk: WalkStretch, from: number, to: number): boolean {
  const now = spanned(doc, from, to);
  return (
    walk.from_ms === now.from_ms &&
    walk.to_ms === now.to_ms &&
    walk.from_beat === now.from_beat &&
    walk.to_beat === now.to_beat
  );
}

/** The sheet with these cues, in order. */
export function withCues(sheet: Sheet, placed: readonly Cued[], next = sheet.next): Sheet {
  const { doc } = sheet;
  const sorted = placed
    .map(({ id, ms, cue }) => ({ id, ms: kept(doc, clampTime(ms)), cue }))
    .sort((a, b) => a.ms - b.ms);
  const cues = sorted.map(({ ms, cue }) => {
    const now = at(doc, ms);
    if (cue.at_ms === now.at_ms && cue.at_beat === now.at_beat) return cue;
    const { at_ms: _ms, at_beat: _beat, ...rest } = cue;
    return { ...now, ...rest };
  });
  return settled({ ...sheet, doc: { ...doc, cues }, ids: { ...sheet.ids, cues: sorted.map(({ id }) => id) }, next });
}

/** With another stated end; null ends it when the last thing in it is over. */
export function withEnd(sheet: Sheet, ms: number | null): Sheet {
  const { end_ms: _ms, end_beat: _beat, ...doc } = sheet.doc;
  if (ms === null) return settled({ ...sheet, doc });
  const end = at(sheet.doc, clampTime(ms));
  const stated = end.at_beat !== undefined ? { end_beat: end.at_beat } : { end_ms: end.at_ms as number };
  return settled({ ...sheet, doc: { ...doc, ...stated } });
}

/**
 * Every edit ends here: no empty lists, an end that nothing lies beyond, neither too short nor too long.
 * Throws Unable where an edit would leave no move at all, or an endless one.
 */
export function settled(sheet: Sheet): Sheet {
  const doc = { ...sheet.doc };
  for (const list of ["keyframes", "walks", "cues"] as const) if (doc[list]?.length === 0) delete doc[list];
  if (!doc.keyframes && !doc.walks) throw new Unable("A move needs at least one key or one walk.");
  if (doc.poses && Object.keys(doc.poses).length === 0) delete doc.poses;
  const natural = naturalEndMs(doc);
  if (natural > LONGEST_MS) throw new Unable("A move lasts an hour at most.");
  const stated = doc.end_ms !== undefined || doc.end_beat !== undefined;
  const least = Math.max(natural, SHORTEST_S * 1000);
  if (stated ? endMs(doc) < least : natural < SHORTEST_S * 1000) {
    // Up to the next step of the measure, since rounding down would cut the last thing off.
    if (countsBeats(doc)) doc.end_beat = Math.ceil((least / beatMs(doc)) * 1e6) / 1e6;
    else doc.end_ms = Math.ceil(least * 1000) / 1000;
  }
  // What is rounded in beats is allowed no more than what surely rounds to an hour elsewhere, too.
  if (endMs(doc) > LONGEST_MS - (countsBeats(doc) ? 1e-3 : 0)) throw new Unable("A move lasts an hour at most.");
  return { ...sheet, doc };
}

/** Whether the robot has what a channel names. */
export function has({ robot }: House, channel: Channel): boolean {
  if (channel.startsWith("feet.")) {
    const leg = channel.slice(5, channel.lastIndexOf("."));
    return robot.legs.some(({ name }) => name === leg);
  }
  return !channel.startsWith("joints_deg.") || robot.joints.includes(channel.slice(11));
}
