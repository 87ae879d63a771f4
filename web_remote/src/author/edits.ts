/**
 * Everything that can be done to a move, as data: `apply` takes an action to the sheet that follows from it. No
 * browser, no clock. What comes out is a document that motionhub/motion/documents.py takes, or the edit is refused
 * in words. Times are in ms whatever the document counts in.
 */

import { BOUNDS } from "./document.gen.ts";
import { curveOf } from "./approach.ts";
import {
  BODY_AXES,
  beatMs,
  type Channel,
  channels,
  countsBeats,
  endMs,
  type Keyframe,
  kept,
  type Lane,
  LEG_PARTS,
  laneOf,
  msOf,
  over,
  type Pose,
  poseOf,
  type SequenceFile,
  type Sound,
  wholePose,
} from "./document.ts";
import { likeLeg, mirrored, oppositeOf, side } from "./mirror.ts";
import {
  has,
  type House,
  placedCues,
  placedKeys,
  placedWalks,
  type Placed,
  type Sheet,
  settled,
  sheetOf,
  Unable,
  withCues,
  withEnd,
  withKeys,
  withWalks,
} from "./sheet.ts";
import { type CueChange, cueFields, type CueFields, setCue, setWalk, type WalkChange, walkFields, type WalkFields, within } from "./besides.ts";
import { inMeasure, lengthened, retempoed, stretched, trimmed } from "./timing.ts";

export { type House, keyOf, placedCues, placedKeys, placedWalks, type Sheet, sheetOf, Unable } from "./sheet.ts";

/** A keyframe by its number, or only what it keys in one lane. */
export interface Mark {
  readonly key: number;
  readonly lane?: Lane;
}

/** Marks that were copied: times from the first of them on. */
export type Clip = readonly { readonly ms: number; readonly pose: Pose; readonly approach?: string; readonly named?: string }[];

export type Action =
  /** Key these channels at a time: on the keyframe that is there, or on a new one, which then no longer keys `free`. */
  | { do: "key"; at_ms: number; pose: Pose; approach?: string; free?: readonly Channel[] }
  /** Key these channels on a keyframe. */
  | { do: "set"; key: number; pose: Pose }
  /** Take single channels out of keyframes. */
  | { do: "unkey"; keys: readonly number[]; channels: readonly Channel[] }
  | { do: "remove"; marks: readonly Mark[] }
  | { do: "move"; marks: readonly Mark[]; by_ms: number }
  | { do: "paste"; clip: Clip; at_ms: number }
  | { do: "approach"; keys: readonly number[]; approach: string }
  /** Make the time from one moment to another so many times as long; what comes after moves along. */
  | { do: "stretch"; from_ms: number; to_ms: number; factor: number }
  /** More time at a moment; below 0 less, and what lay in it is gone. */
  | { do: "insert"; at_ms: number; ms: number }
  /** Keep what lies between two moments. */
  | { do: "trim"; from_ms: number; to_ms: number }
  | { do: "end"; at_ms: number | null }
  /** Count in beats of a tempo, or in milliseconds; nothing moves. */
  | { do: "beats"; tempo_bpm: number }
  | { do: "milliseconds" }
  /** Another tempo: what counts in beats goes along with it. */
  | { do: "tempo"; tempo_bpm: number }
  | { do: "walk"; from_ms: number; to_ms: number; walk: WalkFields }
  | ({ do: "set-walk" } & WalkChange)
  | { do: "remove-walks"; walks: readonly number[] }
  | { do: "cue"; at_ms: number; cue: CueFields }
  | ({ do: "set-cue" } & CueChange)
  | { do: "remove-cues"; cues: readonly number[] }
  /** Keep a pose in the document under a name; null forgets it, and keyframes that named it keep what it gave. */
  | { do: "name-pose"; name: string; pose: Pose | null }
  /** Have a keyframe take a named pose, or none: then it keeps what the pose gave. */
  | { do: "use-pose"; key: number; name: string | null }
  | { do: "mirror"; keys: readonly number[] }
  | { do: "copy-leg"; key: number; from: string; to: "opposite" | "all" }
  /** Back to rest: a leg by name, a side, the body, or all with the joints besides. */
  | { do: "rest"; key: number; what: { leg: string } | "left" | "right" | "body" | "all" }
  /** Feet to the height at which they stand. */
  | { do: "ground"; key: number; legs: readonly string[] }
  | { do: "name"; name: string }
  | { do: "about"; text: string }
  | { do: "sound"; sound: Sound | null }
  /** Another document in place of this one: a mend, an earlier version, something brought in. */
  | { do: "become"; doc: SequenceFile; why: string };

/** What an action makes of a sheet; the sheet itself where nothing changes. Throws Unable with the reason. */
export function apply(sheet: Sheet, action: Action, house: House): Sheet {
  switch (action.do) {
    case "key":
      return key(sheet, action, checked(house, action.pose), house);
    case "set":
      return onKeys(sheet, [action.key], (own) => upon(own, checked(house, action.pose)));
    case "unkey":
      return onKeys(sheet, action.keys, (own) => without(sheet.doc, house, own, (channel) => action.channels.includes(channel)));
    case "remove":
      return withKeys(sheet, lifted(sheet, action.marks, house).rest);
    case "move":
      return move(sheet, action.marks, action.by_ms, house);
    case "paste":
      return paste(sheet, action.clip, action.at_ms, house);
    case "approach":
      if (!curveOf(action.approach)) throw new Unable(`There is no approach called ${action.approach}.`);
      return onKeys(sheet, action.keys, (own) => ({ ...own, approach: action.approach }));
    case "stretch":
      return stretched(sheet, action.from_ms, action.to_ms, action.factor, house.maker.cycle_ms);
    case "insert":
      return lengthened(sheet, action.at_ms, action.ms);
    case "trim":
      return trimmed(sheet, action.from_ms, action.to_ms);
    case "end":
      return withEnd(sheet, action.at_ms);
    case "beats":
      return inMeasure(sheet, tempo(action.tempo_bpm));
    case "milliseconds":
      return inMeasure(sheet, null);
    case "tempo":
      return retempoed(sheet, tempo(action.tempo_bpm));
    case "walk":
      return withWalks(
        sheet,
        [...placedWalks(sheet), { id: sheet.next, from: action.from_ms, to: action.to_ms, walk: walkFields(house, action.walk) }],
        sheet.next + 1,
      );
    case "set-walk":
      return setWalk(sheet, action, house);
    case "remove-walks":
      return withWalks(sheet, placedWalks(sheet).filter(({ id }) => !action.walks.includes(id)));
    case "cue":
      return withCues(
        sheet,
        [...placedCues(sheet), { id: sheet.next, ms: action.at_ms, cue: cueFields(house, action.cue) }],
        sheet.next + 1,
      );
    case "set-cue":
      return setCue(sheet, action, house);
    case "remove-cues":
      return withCues(sheet, placedCues(sheet).filter(({ id }) => !action.cues.includes(id)));
    case "name-pose":
      return namePose(sheet, action.name, action.pose && checked(house, action.pose), house);
    case "use-pose":
      return usePose(sheet, action.key, action.name, house);
    case "mirror":
      return onKeys(sheet, action.keys, (own) => replaced(own, mirrored(house.robot, wholePose(sheet.doc, own, house.poses))));
    case "copy-leg":
      return copyLeg(sheet, action, house);
    case "rest":
      return onKeys(sheet, [action.key], (own) => atRest(sheet.doc, own, action.what, house));
    case "ground":
      return onKeys(sheet, [action.key], (own) =>
        upon(own, checked(house, { feet: Object.fromEntries(action.legs.map((leg) => [leg, { z_mm: 0 }])) })),
      );
    case "name":
      if (!/^[A-Za-z0-9][A-Za-z0-9 _-]{0,63}$/.test(action.name)) {
        throw new Unable("A name is letters, digits, spaces, - and _, and begins with a letter or digit.");
      }
      return action.name === sheet.doc.name ? sheet : { ...sheet, doc: { ...sheet.doc, name: action.name } };
    case "about":
      return { ...sheet, doc: { ...sheet.doc, about: [...action.text].slice(0, 2000).join("") } };
    case "sound": {
      const { sound: _sound, ...rest } = sheet.doc;
      if (!action.sound) return { ...sheet, doc: rest };
      const at_ms = within(action.sound.at_ms ?? 0, BOUNDS.Sound.at_ms);
      return { ...sheet, doc: { ...rest, sound: { ...action.sound, at_ms } } };
    }
    case "become":
      return action.doc === sheet.doc ? sheet : renumbered(sheet, action.doc);
  }
}

/** What marks hold, to be pasted; times count from the first of them. */
export function copy(sheet: Sheet, marks: readonly Mark[], house: House): Clip {
  const { taken } = lifted(sheet, marks, house);
  const first = Math.min(...taken.map(({ ms }) => ms));
  return taken
    .sort((a, b) => a.ms - b.ms)
    .map(({ ms, key: { approach, pose: named, ...own } }) => ({
      ms: ms - first,
      pose: poseOf(channels(own)),
      ...(approach !== undefined && { approach }),
      ...(named !== undefined && { named }),
    }));
}

// ---------------------------------------------------------------- values

function tempo(bpm: number): number {
  return within(bpm, BOUNDS.SequenceFile.tempo_bpm);
}

/** A pose whose parts the robot has, its numbers within what a document holds. */
function checked(house: House, pose: Pose): Pose {
  const found = [...channels(pose)].map(([channel, value]): [Channel, number] => {
    if (!has(house, channel)) throw new Unable(`${house.robot.name} has no ${channel.slice(channel.indexOf(".") + 1)}.`);
    const [kind, axis] = [channel.slice(0, channel.indexOf(".")), channel.slice(channel.lastIndexOf(".") + 1)];
    const bounds =
      kind === "joints_deg"
        ? BOUNDS.Pose.joints_deg
        : kind === "body"
          ? BOUNDS.BodyOffset[axis as keyof typeof BOUNDS.BodyOffset]
          : BOUNDS.Offset[axis as keyof typeof BOUNDS.Offset];
    if (!bounds) throw new Unable(`There is no ${axis}.`);
    return [channel, within(value, bounds)];
  });
  return poseOf(found);
}

// ---------------------------------------------------------------- keyframes

/** A keyframe with another pose, but its time, approach and named pose. */
function replaced(own: Keyframe, pose: Pose): Keyframe {
  const { body: _b, feet: _f, joints_deg: _j, pose: _p, ...rest } = own;
  return { ...rest, ...pose };
}

function upon(own: Keyframe, pose: Pose): Keyframe {
  return { ...replaced(own, over(own, pose)), ...(own.pose !== undefined && { pose: own.pose }) };
}

/** A keyframe less some channels; where its named pose gives one of them, it keeps the others as its own. */
function without(doc: SequenceFile, house: House, own: Keyframe, gone: (channel: Channel) => boolean): Keyframe {
  const whole = channels(wholePose(doc, own, house.poses));
  if (![...whole.keys()].some(gone)) return own;
  const mine = channels(own);
  const named = own.pose !== undefined && [...whole.keys()].some((channel) => gone(channel) && !onlyOwn(doc, house, own, channel));
  const left = [...(named ? whole : mine)].filter(([channel]) => !gone(channel));
  const bare = replaced(own, poseOf(left));
  return named || own.pose === undefined ? bare : { ...bare, pose: own.pose };
}

function onlyOwn(doc: SequenceFile, house: House, own: Keyframe, channel: Channel): boolean {
  const named = doc.poses?.[own.pose as string] ?? house.poses[own.pose as string];
  return !named || !channels(named).has(channel);
}

function onKeys(sheet: Sheet, keys: readonly number[], change: (own: Keyframe) => Keyframe): Sheet {
  const placed = placedKeys(sheet);
  return withKeys(sheet, placed.map((each) => (keys.includes(each.id) ? { ...each, key: change(each.key) } : each)));
}

function key(sheet: Sheet, { at_ms: ms, approach, free = [] }: Extract<Action, { do: "key" }>, pose: Pose, house: House): Sheet {
  if (approach !== undefined && !curveOf(approach)) throw new Unable(`There is no approach called ${approach}.`);
  const fresh = { ...pose, ...(approach !== undefined && { approach }) };
  const here = kept(sheet.doc, ms);
  // Only what is there already can be freed; what is keyed now stays.
  const gone = (channel: Channel): boolean => free.includes(channel) && !channels(pose).has(channel);
  const there = placedKeys(sheet).map((each) =>
    free.length > 0 && each.ms === here ? { ...each, key: without(sheet.doc, house, each.key, gone) } : each,
  );
  return withKeys(sheet, [...there, { id: sheet.next, ms, key: fresh }], sheet.next + 1);
}

/** The marks' content as keyframes of their own, and what is left of the sheet's. */
function lifted(sheet: Sheet, marks: readonly Mark[], house: House): { taken: Placed[]; rest: Placed[] } {
  const taken: Placed[] = [];
  const rest: Placed[] = [];
  for (const each of placedKeys(sheet)) {
    const own = marks.filter((mark) => mark.key === each.id);
    if (own.length === 0) rest.push(each);
    else if (own.some((mark) => mark.lane === undefined)) taken.push(each);
    else {
      const lanes = own.map((mark) => mark.lane);
      const inside = (channel: Channel): boolean => lanes.includes(laneOf(channel));
      const part = without(sheet.doc, house, each.key, (channel) => !inside(channel));
      const left = without(sheet.doc, house, each.key, inside);
      if (channels(wholePose(sheet.doc, part, house.poses)).size > 0) taken.push({ ...each, key: part });
      if (channels(wholePose(sheet.doc, left, house.poses)).size > 0) rest.push({ ...each, key: left });
    }
  }
  return { taken, rest };
}

function move(sheet: Sheet, marks: readonly Mark[], by: number, house: House): Sheet {
  const { taken, rest } = lifted(sheet, marks, house);
  if (taken.length === 0 || by === 0) return sheet;
  // All of them keep their distances, so the first does not go below 0.
  const shift = Math.max(by, -Math.min(...taken.map(({ ms }) => ms)));
  const stay = new Set(rest.map(({ id }) => id));
  let next = sheet.next;
  // A part that leaves its keyframe behind is a new one.
  const moved = taken.map((each) => ({ ...each, id: stay.has(each.id) ? next++ : each.id, ms: each.ms + shift }));
  return withKeys(sheet, [...rest, ...moved], next);
}

function paste(sheet: Sheet, clip: Clip, ms: number, house: House): Sheet {
  let next = sheet.next;
  const fresh = clip.map(({ ms: later, pose, approach, named }): Placed => {
    const known = named !== undefined && (sheet.doc.poses?.[named] ?? house.poses[named]);
    if (approach !== undefined && !curveOf(approach)) throw new Unable(`There is no approach called ${approach}.`);
    const own = {
      ...checked(house, pose),
      ...(approach !== undefined && { approach }),
      ...(known && { pose: named }),
    };
    return { id: next++, ms: ms + later, key: own };
  });
  return withKeys(sheet, [...placedKeys(sheet), ...fresh], next);
}

function copyLeg(sheet: Sheet, { key: id, from, to }: Extract<Action, { do: "copy-leg" }>, house: House): Sheet {
  const { robot } = house;
  const opposite = oppositeOf(robot, from);
  const legs = to === "all" ? robot.legs.map(({ name }) => name) : opposite ? [opposite] : [];
  const others = legs.filter((leg) => leg !== from);
  if (others.length === 0) throw new Unable(`${robot.name} has no leg opposite to ${from}.`);
  return onKeys(sheet, [id], (own) => {
    const pose = wholePose(sheet.doc, own, house.poses);
    const onto = others.map((leg) => likeLeg(robot, pose, from, leg)).reduce(over, {});
    if (channels(onto).size === 0) throw new Unable(`This key does not move ${from}.`);
    const kept = without(sheet.doc, house, own, (channel) => others.some((leg) => laneOf(channel) === `leg:${leg}`));
    return upon(kept, checked(house, onto));
  });
}

function atRest(doc: SequenceFile, own: Keyframe, what: Extract<Action, { do: "rest" }>["what"], house: House): Keyframe {
  const { robot, maker } = house;
  const chosen =
    typeof what === "object"
      ? robot.legs.filter(({ name }) => name === what.leg)
      : robot.legs.filter((leg) => what === "all" || what === side(leg));
  if (typeof what === "object" && chosen.length === 0) throw new Unable(`${robot.name} has no leg ${what.leg}.`);
  const names = chosen.map(({ name }) => name);
  const joints = names.flatMap((name) => LEG_PARTS.map((part): Channel => `joints_deg.${name}.${part}`));
  const kept = without(doc, house, own, (channel) => joints.includes(channel));
  const whole = what === "all" || what === "body";
  const first = 3 * robot.legs.length;
  const extra = robot.joints.slice(first).map((name, i) => [name, maker.rest_deg[first + i] ?? 0] as const);
  return upon(kept, {
    ...(whole && { body: Object.fromEntries(BODY_AXES.map((axis) => [axis, 0])) }),
    ...(names.length > 0 && { feet: Object.fromEntries(names.map((name) => [name, { x_mm: 0, y_mm: 0, z_mm: 0 }])) }),
    ...(what === "all" && extra.length > 0 && { joints_deg: Object.fromEntries(extra) }),
  });
}

// ---------------------------------------------------------------- named poses

function namePose(sheet: Sheet, name: string, pose: Pose | null, house: House): Sheet {
  const { [name]: old, ...others } = sheet.doc.poses ?? {};
  if (pose) {
    if (!/^[A-Za-z0-9][A-Za-z0-9 _-]{0,63}$/.test(name)) throw new Unable("A pose is called by letters, digits, spaces, - and _.");
    if (channels(pose).size === 0) throw new Unable("This pose moves nothing.");
    return { ...sheet, doc: { ...sheet.doc, poses: { ...others, [name]: pose } } };
  }
  if (!old) return sheet;
  const users = placedKeys(sheet).filter(({ key: own }) => own.pose === name);
  const baked = onKeys(sheet, users.map(({ id }) => id), (own) => replaced(own, wholePose(sheet.doc, own, house.poses)));
  return settled({ ...baked, doc: { ...baked.doc, poses: others } });
}

function usePose(sheet: Sheet, id: number, name: string | null, house: House): Sheet {
  const known = name === null || sheet.doc.poses?.[name] || house.poses[name];
  if (!known) throw new Unable(`There is no pose called ${name}.`);
  return onKeys(sheet, [id], (own) => {
    if (name === null) return replaced(own, wholePose(sheet.doc, own, house.poses));
    // What the key gave itself would hide the pose.
    const named = channels(sheet.doc.poses?.[name] ?? house.poses[name] ?? {});
    const own_ = [...channels(own)].filter(([channel]) => !named.has(channel));
    return { ...replaced(own, poseOf(own_)), pose: name };
  });
}

/** A whole other document; parts that are where parts were before keep their numbers. */
function renumbered(sheet: Sheet, doc: SequenceFile): Sheet {
  const made = sheetOf(doc);
  const known = new Map(placedKeys(sheet).map(({ id, ms }) => [Math.round(ms), id]));
  let next = Math.max(sheet.next, made.next);
  const used = new Set<number>();
  const ids = (doc.keyframes ?? []).map((each) => {
    const old = known.get(Math.round(msOf(doc, each)));
    if (old === undefined || used.has(old)) return next++;
    used.add(old);
    return old;
  });
  const fresh = (list: readonly unknown[] | undefined): number[] => (list ?? []).map(() => next++);
  return { doc, ids: { keys: ids, walks: fresh(doc.walks), cues: fresh(doc.cues) }, next };
}

/** How long the move is, for screens. */
export function lengthMs(sheet: Sheet): number {
  return endMs(sheet.doc);
}

/** Milliseconds of the finest step that times snap to: a fraction of a beat, or of a tenth of a second. */
export function snapMs(doc: SequenceFile, parts: number): number {
  return countsBeats(doc) ? beatMs(doc) / parts : 100 / parts;
}
