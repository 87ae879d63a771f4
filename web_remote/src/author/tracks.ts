/**
 * Where every channel is at a moment, before the hub has said so: what motionhub/motion/render.py does, for one
 * moment and without walking. It is for a hand that drags; what is played and judged comes from the hub.
 */

import { curveOf } from "./approach.ts";
import { type Channel, LEG_PARTS, msOf, type Pose, poseOf, type SequenceFile, USUAL, wholeChannels, wholePose } from "./document.ts";
import { type Posed, posed } from "./reach.ts";
import type { House } from "./sheet.ts";

interface Key {
  ms: number;
  /** null lets go of the joint: body and foot have it again. */
  value: number | null;
  approach: string;
}

export type Tracks = Map<Channel, Key[]>;

/** All channels' keys in order of time, each with the implicit one: at rest at the start. */
export function tracksOf(doc: SequenceFile, house: House): Tracks {
  const { robot, maker } = house;
  const tracks: Tracks = new Map();
  const keyed = (doc.keyframes ?? []).map((key) => ({
    ms: msOf(doc, key),
    approach: key.approach ?? USUAL,
    pose: wholePose(doc, key, house.poses),
    found: wholeChannels(doc, key, house.poses),
  }));
  const joints = new Set(keyed.flatMap(({ pose }) => Object.keys(pose.joints_deg ?? {})));
  const track = (channel: Channel): Key[] => {
    let found = tracks.get(channel);
    if (!found) {
      const joint = channel.startsWith("joints_deg.") ? robot.joints.indexOf(channel.slice(11)) : -1;
      const first = joint < 0 ? 0 : joint < 3 * robot.legs.length ? null : (maker.rest_deg[joint] ?? 0);
      found = [{ ms: 0, value: first, approach: "linear" }];
      tracks.set(channel, found);
    }
    return found;
  };
  const put = (channel: Channel, key: Key): void => {
    const own = track(channel);
    if (own.length === 1 && own[0]?.ms === key.ms) own.length = 0;
    own.push(key);
  };
  for (const { ms, approach, pose, found } of keyed) {
    for (const [channel, value] of found) put(channel, { ms, value, approach });
    for (const leg of Object.keys(pose.feet ?? {})) {
      if (Object.keys(pose.feet?.[leg] ?? {}).length === 0) continue;
      for (const part of LEG_PARTS) {
        const name = `${leg}.${part}`;
        if (joints.has(name) && pose.joints_deg?.[name] === undefined) put(`joints_deg.${name}`, { ms, value: null, approach });
      }
    }
  }
  return tracks;
}

/** The key before a moment, the one after it, and how far it has got between them. */
function around(keys: readonly Key[], ms: number): { before: Key; after: Key; progress: number } {
  const last = keys.length - 1;
  let after = keys.findIndex((key) => key.ms > ms);
  if (after < 0) after = last + 1;
  const before = keys[Math.max(after - 1, 0)] as Key;
  const next = keys[Math.min(after, last)] as Key;
  const length = next.ms - before.ms;
  const inside = length > 0 && ms >= (keys[0] as Key).ms;
  const curve = curveOf(next.approach) ?? ((t: number) => t);
  return { before, after: next, progress: inside ? curve((ms - before.ms) / length) : 0 };
}

/** A channel's value at a moment; null where a joint is left to body and foot. */
export function valueAt(tracks: Tracks, channel: Channel, ms: number): number | null {
  const keys = tracks.get(channel);
  if (!keys) return channel.startsWith("joints_deg.") ? null : 0;
  const { before, after, progress } = around(keys, ms);
  if (before.value === null || after.value === null) return progress < 1 ? before.value : after.value;
  return before.value + (after.value - before.value) * progress;
}

/** What a keyframe at this moment would say of every channel that the move keys, without changing how it goes there. */
export function poseAt(tracks: Tracks, ms: number): Pose {
  const found: [Channel, number][] = [];
  for (const channel of tracks.keys()) {
    const value = valueAt(tracks, channel, ms);
    if (value !== null) found.push([channel, value]);
  }
  return poseOf(found);
}

/** The joints at a moment, as they will be rendered where the move does not walk. */
export function jointsAt(tracks: Tracks, house: House, ms: number): Posed {
  const beneath: [Channel, number][] = [];
  for (const channel of tracks.keys()) {
    if (!channel.startsWith("joints_deg.")) beneath.push([channel, valueAt(tracks, channel, ms) ?? 0]);
  }
  const found = posed(house, poseOf(beneath));
  for (const [channel, keys] of tracks) {
    if (!channel.startsWith("joints_deg.")) continue;
    const joint = house.robot.joints.indexOf(channel.slice(11));
    const own = found.joints_deg[joint] ?? 0;
    const { before, after, progress } = around(keys, ms);
    const [start, stop] = [before.value ?? own, after.value ?? own];
    found.joints_deg[joint] = start + (stop - start) * progress;
  }
  return found;
}
