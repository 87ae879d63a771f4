/** What a hand did with the pose while it was recorded, and the few keys that say the same within an error. */

import { apply, type Clip, type House, type Sheet } from "../edits.ts";
import { type Channel, channels, FOOT_AXES, LEG_PARTS, type Pose, poseOf, type SequenceFile } from "../document.ts";
import { placedKeys, placedWalks } from "../sheet.ts";

/** How it is driven, in the units of a walking stretch. */
export interface Course {
  forward_mm_s: number;
  left_mm_s: number;
  turn_deg_s: number;
}

export const STANDS: Course = { forward_mm_s: 0, left_mm_s: 0, turn_deg_s: 0 };

/** One moment of a performance: all that a hand has moved until then, and how it drives just then. */
export interface Sample {
  /** From its beginning. */
  ms: number;
  pose: Pose;
  course?: Course;
}

/** A course that the robot can walk, the same way: where forward, aside and turning together ask too much, slower. */
export function possible(course: Course, gait: Course | undefined): Course {
  if (!gait) return course;
  const names = ["forward_mm_s", "left_mm_s", "turn_deg_s"] as const;
  // No foot needs more of its room than each of them alone takes of it, summed up.
  const share = names.reduce((sum, name) => sum + Math.abs(course[name]) / Math.max(gait[name], 0.1), 0);
  if (share <= 1) return course;
  const [forward_mm_s, left_mm_s, turn_deg_s] = names.map((name) => Math.trunc((course[name] / share) * 10) / 10 + 0) as [number, number, number];
  return { forward_mm_s, left_mm_s, turn_deg_s };
}

/** In cycles, what it takes at most until every foot is home after a hand has let go. */
const LANDS_CYCLES = 2.5;

/** Samples as rows of values, one for each channel that any of them mentions; before it was moved it is as at first. */
function table(samples: readonly Sample[], rest: Pose): { names: Channel[]; rows: number[][] } {
  const before = channels(rest);
  const all = samples.map(({ pose }) => channels(pose));
  const names = [...new Set(all.flatMap((found) => [...found.keys()]))];
  const rows: number[][] = [];
  for (const found of all) {
    const last = rows.at(-1);
    rows.push(names.map((name, i) => found.get(name) ?? last?.[i] ?? before.get(name) ?? 0));
  }
  return { names, rows };
}

/**
 * Which of the rows to keep so that straight lines between them miss no other row by more than `error` in any column:
 * where they miss most, a row is kept (Ramer, Computer Graphics and Image Processing 1(3), 1972; Douglas & Peucker,
 * Cartographica 10(2), 1973; here by the error at the same time).
 */
export function keptRows(times: readonly number[], rows: readonly (readonly number[])[], error: number): number[] {
  const kept = new Set([0, Math.max(0, rows.length - 1)]);
  const spans: [number, number][] = [[0, rows.length - 1]];
  for (;;) {
    const span = spans.pop();
    if (!span) break;
    const [a, b] = span;
    let [worst, most] = [-1, error];
    for (let i = a + 1; i < b; i++) {
      const share = ((times[i] as number) - (times[a] as number)) / ((times[b] as number) - (times[a] as number));
      const [ra, ri, rb] = [rows[a] ?? [], rows[i] ?? [], rows[b] ?? []];
      for (let k = 0; k < ri.length; k++) {
        const miss = Math.abs((ra[k] as number) + share * ((rb[k] as number) - (ra[k] as number)) - (ri[k] as number));
        if (miss > most) [worst, most] = [i, miss];
      }
    }
    if (worst < 0) continue;
    kept.add(worst);
    spans.push([a, worst], [worst, b]);
  }
  return [...kept].sort((a, b) => a - b);
}

/** The keys for the part of a performance from one moment to another, within `error` mm and degrees of it. */
export function clipOf(samples: readonly Sample[], rest: Pose, from_ms: number, to_ms: number, error: number): Clip {
  const part = samples.filter(({ ms }) => ms >= from_ms && ms <= to_ms);
  if (part.length < 2) return [];
  const { names, rows } = table(part, rest);
  if (names.length === 0) return [];
  const times = part.map(({ ms }) => ms - (part[0] as Sample).ms);
  return keptRows(times, rows, error).map((i) => ({
    ms: Math.round(times[i] as number),
    pose: poseOf(names.map((name, k) => [name, (rows[i] as number[])[k] as number] as const)),
    approach: "linear",
  }));
}

/**
 * The walking stretches of the part of a performance from one moment to another, in ms from there. What a stretch has is
 * one course from its start to its end, so the way that was driven (forward, aside and turned, each summed up over time)
 * becomes straight lines that miss it by no more than `error` mm and degrees; each line is a stretch. They follow one
 * another without a gap, for then the robot walks on from each to the next. The last is for the feet to land, as they
 * do after a hand has let go; so long a pause between two drives is one, too, and a longer one parts them.
 */
export function walksOf(samples: readonly Sample[], from_ms: number, to_ms: number, error: number, cycle_ms: number): Drive[] {
  const lands = LANDS_CYCLES * cycle_ms;
  const part = samples.filter(({ ms }) => ms >= from_ms && ms <= to_ms);
  const found: Drive[] = [];
  const end = (held: readonly Sample[], until: number): void => {
    const first = held[0];
    if (!first) return;
    for (const [a, b, course] of lines(held, until, error)) {
      // What is less than can be written down is standing; a run cannot begin with that.
      if (found.at(-1)?.to_ms === Math.round(a - from_ms) || moves(course)) found.push({ from_ms: Math.round(a - from_ms), to_ms: Math.round(b - from_ms), ...course });
    }
    const last = found.at(-1);
    if (last && last.to_ms === Math.round(until - from_ms)) found.push({ from_ms: last.to_ms, to_ms: Math.round(last.to_ms + lands), ...STANDS });
  };
  let held: Sample[] = [];
  let until = 0;
  part.forEach((sample, i) => {
    if (!moves(sample.course ?? STANDS)) {
      if (held.length > 0) held.push(sample);
      return;
    }
    if (held.length > 0 && sample.ms - until >= lands) {
      end(held.filter(({ ms }) => ms < until), until);
      held = [];
    }
    held.push(sample);
    until = part[i + 1]?.ms ?? sample.ms;
  });
  end(held.filter(({ ms }) => ms < until), until);
  return found;
}

/** A stretch of walking, in ms from the start of what was performed. */
export type Drive = Course & { from_ms: number; to_ms: number };

const moves = ({ forward_mm_s, left_mm_s, turn_deg_s }: Course): boolean => forward_mm_s !== 0 || left_mm_s !== 0 || turn_deg_s !== 0;

/** From when to when, and by which course, so that the way driven is kept to within `error`. */
function lines(held: readonly Sample[], until: number, error: number): [number, number, Course][] {
  const times = [...held.map(({ ms }) => ms), until];
  const ways = [[0, 0, 0]];
  held.forEach(({ ms, course = STANDS }, i) => {
    const seconds = ((times[i + 1] as number) - ms) / 1000;
    const [x, y, turn] = ways[i] as [number, number, number];
    ways.push([x + course.forward_mm_s * seconds, y + course.left_mm_s * seconds, turn + course.turn_deg_s * seconds]);
  });
  const kept = keptRows(times, ways, error);
  return kept.slice(1).map((b, i) => {
    const a = kept[i] as number;
    const [from, to] = [times[a] as number, times[b] as number];
    const speed = (k: number): number => Math.round((((ways[b]?.[k] ?? 0) - (ways[a]?.[k] ?? 0)) / (to - from)) * 1e4) / 10 + 0;
    return [from, to, { forward_mm_s: speed(0), left_mm_s: speed(1), turn_deg_s: speed(2) }];
  });
}

/** What a pose that keys a foot takes the place of: the angles of that leg, and the other way round. */
export function otherWay(pose: Pose): Channel[] {
  const byFoot = Object.keys(pose.feet ?? {}).flatMap((leg) => LEG_PARTS.map((part): Channel => `joints_deg.${leg}.${part}`));
  const legs = Object.keys(pose.joints_deg ?? {}).flatMap((joint) => (/^(.+)\.(coxa|femur|tibia)$/.exec(joint)?.slice(1, 2) ?? []));
  return [...byFoot, ...[...new Set(legs)].flatMap((leg) => FOOT_AXES.map((axis): Channel => `feet.${leg}.${axis}`))];
}

/** A move with a performance in it from `at_ms` on: what it moves is not keyed otherwise while it lasts. */
export function withPerformance(sheet: Sheet, clip: Clip, at_ms: number, house: House, walks: readonly Drive[] = []): SequenceFile {
  return withDrives(clip.length > 0 ? withKeys(sheet, clip, at_ms, house) : sheet, walks, at_ms, house).doc;
}

function withKeys(sheet: Sheet, clip: Clip, at_ms: number, house: House): Sheet {
  const lasts = clip.at(-1)?.ms ?? 0;
  const pose = clip[0]?.pose ?? {};
  const mine = new Set(clip.map(({ ms }) => Math.round(at_ms + ms)));
  // Pasted first, so that a move is never left without any key.
  const after = apply(sheet, { do: "paste", clip, at_ms }, house);
  const within = placedKeys(after).filter(({ ms }) => ms >= at_ms && ms <= at_ms + lasts);
  const between = within.filter(({ ms }) => !mine.has(Math.round(ms))).map(({ id }) => id);
  const others = apply(after, { do: "unkey", keys: between, channels: [...channels(pose).keys()] }, house);
  return apply(others, { do: "unkey", keys: within.map(({ id }) => id), channels: otherWay(pose) }, house);
}

/** What was driven takes the place of the walking that was there. */
function withDrives(sheet: Sheet, walks: readonly Drive[], at_ms: number, house: House): Sheet {
  const gait = house.maker.gaits[0]?.name;
  return walks.reduce((so, { from_ms, to_ms, ...course }) => {
    const [from, to] = [at_ms + from_ms, at_ms + to_ms];
    const under = placedWalks(so).filter((walk) => walk.from < to && walk.to > from).map(({ id }) => id);
    const free = under.length > 0 ? apply(so, { do: "remove-walks", walks: under }, house) : so;
    return apply(free, { do: "walk", from_ms: from, to_ms: to, walk: { ...(gait && { gait }), ...course } }, house);
  }, sheet);
}
