/**
 * The sequence document as the editor sees it: reading and writing its text, its times, and its channels.
 * The types come from the Python models (document.gen.ts); nothing here decides what is valid.
 */

import type { Cue, Keyframe, Pose, SequenceFile, WalkStretch } from "./document.gen.ts";

export type { BodyOffset, Cue, Keyframe, Offset, Pose, SequenceFile, Sound, WalkStretch } from "./document.gen.ts";

export const BODY_AXES = ["x_mm", "y_mm", "z_mm", "roll_deg", "pitch_deg", "yaw_deg"] as const;
export const FOOT_AXES = ["x_mm", "y_mm", "z_mm"] as const;
export const LEG_PARTS = ["coxa", "femur", "tibia"] as const;
export type BodyAxis = (typeof BODY_AXES)[number];
export type FootAxis = (typeof FOOT_AXES)[number];

/** How a key is approached when it does not say. */
export const USUAL = "minimum-jerk";

/** A move to begin with: it stands at rest for two seconds. */
export function fresh(name: string): SequenceFile {
  const rest = Object.fromEntries(BODY_AXES.map((axis) => [axis, 0]));
  return { format: "motionhub-sequence/1", name, keyframes: [{ at_ms: 0, body: rest }], end_ms: 2000 };
}

/** The document in a text that the hub has sent, which has been read there already. */
export function readText(text: string): SequenceFile {
  return JSON.parse(text) as SequenceFile;
}

/** The document as text: what is empty is left out. */
export function writeText(doc: SequenceFile): string {
  return JSON.stringify(doc);
}

// ---------------------------------------------------------------- times, in ms whatever the document counts in

export function countsBeats(doc: SequenceFile): boolean {
  const first = doc.keyframes?.[0] ?? doc.cues?.[0];
  if (first) return first.at_beat !== undefined;
  return doc.walks?.[0]?.from_beat !== undefined;
}

/** Milliseconds of one beat. */
export function beatMs(doc: SequenceFile): number {
  return 60_000 / (doc.tempo_bpm ?? 120);
}

/** To the microsecond, or to the millionth of a beat: what a person could still mean. */
function tidy(value: number, places: number): number {
  return Number(value.toFixed(places));
}

/** When something is, in ms. */
export function msOf(doc: SequenceFile, item: Pick<Keyframe, "at_ms" | "at_beat">): number {
  return item.at_ms ?? (item.at_beat ?? 0) * beatMs(doc);
}

/** When a walk starts and ends, in ms. */
export function spanOf(doc: SequenceFile, walk: WalkStretch): [number, number] {
  const beat = beatMs(doc);
  return [walk.from_ms ?? (walk.from_beat ?? 0) * beat, walk.to_ms ?? (walk.to_beat ?? 0) * beat];
}

/** A time in the document's own measure. */
export function measured(doc: SequenceFile, ms: number): number {
  return countsBeats(doc) ? tidy(ms / beatMs(doc), 6) : tidy(ms, 3);
}

/** The time that is kept when something is put at `ms`: rounded as the document's measure rounds it. */
export function kept(doc: SequenceFile, ms: number): number {
  return countsBeats(doc) ? measured(doc, ms) * beatMs(doc) : measured(doc, ms);
}

export function at(doc: SequenceFile, ms: number): Pick<Keyframe, "at_ms" | "at_beat"> {
  return countsBeats(doc) ? { at_beat: measured(doc, ms) } : { at_ms: measured(doc, ms) };
}

export function between(doc: SequenceFile, from: number, to: number): Partial<WalkStretch> {
  return countsBeats(doc)
    ? { from_beat: measured(doc, from), to_beat: measured(doc, to) }
    : { from_ms: measured(doc, from), to_ms: measured(doc, to) };
}

/** When the last thing in it is over, in ms. */
export function naturalEndMs(doc: SequenceFile): number {
  let end = 0;
  for (const key of doc.keyframes ?? []) end = Math.max(end, msOf(doc, key));
  for (const walk of doc.walks ?? []) end = Math.max(end, spanOf(doc, walk)[1]);
  for (const cue of doc.cues ?? []) end = Math.max(end, msOf(doc, cue) + (cue.for_ms ?? 0) + (cue.fade_ms ?? 0));
  return end;
}

/** When it ends, in ms: its stated end, or when the last thing in it is over. */
export function endMs(doc: SequenceFile): number {
  if (doc.end_ms !== undefined) return doc.end_ms;
  if (doc.end_beat !== undefined) return doc.end_beat * beatMs(doc);
  return naturalEndMs(doc);
}

// ---------------------------------------------------------------- channels

/** What a key can key: `body.x_mm`, `feet.left_front.z_mm`, `joints_deg.head`, `joints_deg.left_front.coxa`. */
export type Channel = `body.${BodyAxis}` | `feet.${string}` | `joints_deg.${string}`;

/** A row of the strip: the body, a leg with its foot and its joints, or a joint besides. */
export type Lane = "body" | `leg:${string}` | `joint:${string}`;

/** All channels that a pose mentions, and their values in mm and degrees. */
export function channels(pose: Pose): Map<Channel, number> {
  const found = new Map<Channel, number>();
  for (const [axis, value] of Object.entries(pose.body ?? {})) found.set(`body.${axis as BodyAxis}`, value);
  for (const [leg, offset] of Object.entries(pose.feet ?? {})) {
    for (const [axis, value] of Object.entries(offset)) found.set(`feet.${leg}.${axis}`, value as number);
  }
  for (const [joint, value] of Object.entries(pose.joints_deg ?? {})) found.set(`joints_deg.${joint}`, value);
  return found;
}

/** The pose that mentions exactly these channels. */
export function poseOf(found: Iterable<readonly [Channel, number]>): Pose {
  const body: Record<string, number> = {};
  const feet: Record<string, Record<string, number>> = {};
  const joints: Record<string, number> = {};
  for (const [channel, value] of found) {
    const dot = channel.indexOf(".");
    const [kind, rest] = [channel.slice(0, dot), channel.slice(dot + 1)];
    if (kind === "body") body[rest] = value;
    else if (kind === "joints_deg") joints[rest] = value;
    else {
      const axis = rest.lastIndexOf(".");
      const leg = rest.slice(0, axis);
      feet[leg] = { ...feet[leg], [rest.slice(axis + 1)]: value };
    }
  }
  return {
    ...(Object.keys(body).length > 0 && { body }),
    ...(Object.keys(feet).length > 0 && { feet }),
    ...(Object.keys(joints).length > 0 && { joints_deg: joints }),
  };
}

/** The lane that a channel is drawn in. */
export function laneOf(channel: Channel): Lane {
  if (channel.startsWith("body.")) return "body";
  if (channel.startsWith("feet.")) return `leg:${channel.slice(5, channel.lastIndexOf("."))}`;
  const joint = channel.slice("joints_deg.".length);
  const dot = joint.lastIndexOf(".");
  const part = joint.slice(dot + 1);
  return dot > 0 && (LEG_PARTS as readonly string[]).includes(part) ? `leg:${joint.slice(0, dot)}` : `joint:${joint}`;
}

/** One pose over another: what the upper mentions goes before what the lower does. */
export function over(lower: Pose, upper: Pose): Pose {
  return poseOf(new Map([...channels(lower), ...channels(upper)]));
}

/** All that a keyframe keys, with what its named pose gives. */
export function wholePose(doc: SequenceFile, key: Keyframe, library: Record<string, Pose>): Pose {
  const named = key.pose === undefined ? undefined : (doc.poses?.[key.pose] ?? library[key.pose]);
  return named ? over(named, key) : told(key).pose;
}

/** The channels of that. */
export function wholeChannels(doc: SequenceFile, key: Keyframe, library: Record<string, Pose>): ReadonlyMap<Channel, number> {
  return key.pose === undefined ? told(key).channels : channels(wholePose(doc, key, library));
}

const toldOf = new WeakMap<Keyframe, { pose: Pose; channels: ReadonlyMap<Channel, number> }>();

/** A keyframe never changes, another one takes its place: what it says is worked out once, and not for every step of a drag. */
function told(key: Keyframe): { pose: Pose; channels: ReadonlyMap<Channel, number> } {
  let found = toldOf.get(key);
  if (!found) {
    const all = channels(key);
    found = { pose: poseOf(all), channels: all };
    toldOf.set(key, found);
  }
  return found;
}

/** Cues in a row are drawn and kept in order of time. */
export function sortedCues(doc: SequenceFile, cues: readonly Cue[]): Cue[] {
  return [...cues].sort((a, b) => msOf(doc, a) - msOf(doc, b));
}
