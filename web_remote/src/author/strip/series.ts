/** What can be drawn as a curve under the strip, from the hub's preview. */

import type { House } from "../edits.ts";
import type { Preview } from "../preview.ts";
import { type Body, footOffsets } from "../reach.ts";
import { plainName } from "../../words.ts";

export interface Limit {
  value: number;
  /** Which side of it is wrong. */
  wrong: "above" | "below";
  words: string;
}

export interface Subject {
  id: string;
  words: string;
  unit: string;
  limits: readonly Limit[];
  /** The value in frame `row`. */
  at: (row: number) => number;
}

export interface SubjectGroup {
  words: string;
  subjects: readonly Pick<Subject, "id" | "words">[];
}

/** All that there is a curve of, for choosing. */
export function subjectsOf(house: House): SubjectGroup[] {
  const { robot } = house;
  return [
    {
      words: "The robot",
      subjects: [
        { id: "margin", words: "stability margin" },
        { id: "amps", words: "current" },
        { id: "load", words: "hardest joint" },
      ],
    },
    { words: "Feet", subjects: robot.legs.map(({ name }) => ({ id: `foot:${name}`, words: `${plainName(name)} foot, height` })) },
    { words: "Joints", subjects: robot.joints.map((name) => ({ id: `joint:${name}`, words: plainName(name.replace(".", " ")) })) },
    { words: "Torque", subjects: robot.joints.map((name) => ({ id: `load:${name}`, words: `${plainName(name.replace(".", " "))}, load` })) },
  ];
}

const LOAD_LIMIT: Limit = { value: 100, wrong: "above", words: "all the torque there is" };

/** One of them; null where this robot has no such part. */
export function subjectOf(id: string, preview: Preview, house: House): Subject | null {
  const { robot, maker } = house;
  const words = subjectsOf(house).flatMap(({ subjects }) => subjects).find((each) => each.id === id)?.words;
  if (words === undefined) return null;
  const [kind, name] = [id.split(":")[0], id.slice(id.indexOf(":") + 1)];
  const count = robot.joints.length;
  const joint = robot.joints.indexOf(name);
  const base = { id, words };
  switch (kind) {
    case "margin":
      return {
        ...base,
        unit: "mm",
        limits: [{ value: maker.margin_mm, wrong: "below", words: "least margin" }],
        at: (row) => (preview.margin[row] ?? 0) / 10,
      };
    case "amps":
      return {
        ...base,
        unit: "A",
        limits: [{ value: maker.regulator_a, wrong: "above", words: "regulator" }],
        at: (row) => (preview.amps[row] ?? 0) / 100,
      };
    case "load":
      return {
        ...base,
        unit: "%",
        limits: [LOAD_LIMIT],
        at: (row) => {
          if (joint >= 0) return preview.load[row * count + joint] ?? 0;
          let most = 0;
          for (let i = row * count; i < (row + 1) * count; i++) most = Math.max(most, preview.load[i] ?? 0);
          return most;
        },
      };
    case "joint":
      return {
        ...base,
        unit: "°",
        limits: [
          { value: maker.low_deg[joint] ?? -180, wrong: "below", words: "lower end" },
          { value: maker.high_deg[joint] ?? 180, wrong: "above", words: "upper end" },
        ],
        at: (row) => (preview.joints[row * count + joint] ?? 0) / 100,
      };
    default: {
      const leg = robot.legs.findIndex((each) => each.name === name);
      return {
        ...base,
        unit: "mm",
        limits: [{ value: 0, wrong: "below", words: "ground" }],
        at: (row) => {
          const joints = Array.from(preview.joints.subarray(row * count, (row + 1) * count), (value) => value / 100);
          // The preview has where the body is; a pose has how far it is from rest.
          const [x, y, z, ...turned] = preview.body.subarray(row * 6, row * 6 + 6);
          const body = [x, y, (z ?? 0) - robot.rest_height_mm, ...turned] as unknown as Body;
          return footOffsets(house, joints, body)[leg]?.[2] ?? 0;
        },
      };
    }
  }
}

/** At most this many points of a curve are worked out: two for each pixel of a wide screen. */
const MOST = 1600;

/** The curve between two frames: of each bunch of frames its least and most, so that no peak is missed. */
export function sampled(subject: Subject, first: number, last: number, rate_hz: number): [number[], number[]] {
  const bunch = Math.max(1, Math.ceil(((last - first) * 2) / MOST));
  const [times, values]: [number[], number[]] = [[], []];
  for (let row = first; row <= last; row += bunch) {
    let [low, high] = [row, row];
    const all = Array.from({ length: Math.min(bunch, last - row + 1) }, (_, i) => subject.at(row + i));
    for (const [i, value] of all.entries()) {
      if (value < (all[low - row] as number)) low = row + i;
      if (value > (all[high - row] as number)) high = row + i;
    }
    for (const each of low === high ? [low] : [Math.min(low, high), Math.max(low, high)]) {
      times.push((each / rate_hz) * 1000);
      values.push(all[each - row] as number);
    }
  }
  return [times, values];
}
