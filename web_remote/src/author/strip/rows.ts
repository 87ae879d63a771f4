/** What is in the strip, row by row: the same for the picture, for the hand on it, and for a screen reader. */

import type { FindingInfo, RobotInfo } from "../../messages.gen.ts";
import { plainName } from "../../words.ts";
import type { WalkStretch } from "../document.gen.ts";
import { type Channel, endMs, type Lane, laneOf, USUAL, wholeChannels } from "../document.ts";
import { type House, placedCues, placedKeys, placedWalks, type Sheet } from "../edits.ts";
import { saidTime } from "./view.ts";

export type RowKind = "findings" | "whole" | "lane" | "walks" | "cues" | "sound";

/** Something at a time. `id` is the keyframe's, walk's or cue's number, or the finding's place in the report. */
export interface Item {
  readonly id: number;
  readonly ms: number;
  readonly to: number;
  readonly words: string;
}

export interface Row {
  readonly name: string;
  readonly kind: RowKind;
  readonly lane?: Lane;
  /** As it is written beside the row. */
  readonly words: string;
  readonly items: readonly Item[];
}

export const HEIGHT: Record<RowKind, number> = { findings: 22, whole: 27, lane: 35, walks: 35, cues: 30, sound: 42 };
export const RULER = 26;

/** A leg or a joint besides that a lane stands for, as words. */
export function laneWords(lane: Lane): string {
  return lane === "body" ? "body" : plainName(lane.slice(lane.indexOf(":") + 1));
}

export function lanesOf(robot: RobotInfo): Lane[] {
  const besides = robot.joints.slice(3 * robot.legs.length);
  return ["body", ...robot.legs.map(({ name }): Lane => `leg:${name}`), ...besides.map((name): Lane => `joint:${name}`)];
}

/** The lane that a finding is about, if it is about one. */
export function laneOfFinding(robot: RobotInfo, { subject, rule }: FindingInfo): Lane | null {
  if (!subject) return rule === "stability" || rule === "tip-over" ? "body" : null;
  const first = subject.split(/[\s,]/)[0] ?? "";
  const leg = robot.legs.find(({ name }) => first === name || first.startsWith(`${name}.`));
  if (leg) return `leg:${leg.name}`;
  return robot.joints.includes(first) ? `joint:${first}` : null;
}

const saying = (words: () => string, id: number, ms: number, to = ms): Item => ({
  id,
  ms,
  to,
  get words() {
    return words();
  },
});

export function rowsOf(sheet: Sheet, house: House, findings: readonly FindingInfo[]): Row[] {
  const { doc } = sheet;
  const at = (ms: number): string => saidTime(doc, ms);
  const keys = placedKeys(sheet);
  const byLane = new Map<Lane, Item[]>(lanesOf(house.robot).map((lane) => [lane, []]));
  const whole: Item[] = [];
  for (const { id, ms, key } of keys) {
    const own = new Map<Lane, number>();
    for (const channel of wholeChannels(doc, key, house.poses).keys()) {
      const lane = laneOf(channel as Channel);
      own.set(lane, (own.get(lane) ?? 0) + 1);
    }
    const how = key.approach ?? USUAL;
    const named = (): string => (key.pose === undefined ? "" : `, the pose ${plainName(key.pose)}`);
    // Words when they are asked for: a hand that drags needs where things are, many times a second.
    const all = (): string => `All of the key at ${at(ms)}: ${[...own.keys()].map(laneWords).join(", ")}${named()}, ${how}`;
    whole.push(saying(all, id, ms));
    for (const [lane, count] of own) {
      byLane.get(lane)?.push(saying(() => `${laneWords(lane)} at ${at(ms)}, ${count === 1 ? "one value" : `${count} values`}${named()}, ${how}`, id, ms));
    }
  }
  return [
    {
      name: "findings",
      kind: "findings",
      words: "check",
      items: findings.map((finding, id) => saying(() => `${findingWords(finding)} at ${at(finding.start_s * 1000)}`, id, finding.start_s * 1000, finding.end_s * 1000)),
    },
    { name: "whole", kind: "whole", words: "all at once", items: whole },
    ...[...byLane].map(([lane, items]): Row => ({ name: lane, kind: "lane", lane, words: laneWords(lane), items })),
    {
      name: "walks",
      kind: "walks",
      words: "walking",
      items: placedWalks(sheet).map(({ id, from, to, walk }) => ({
        id,
        ms: from,
        to,
        words: `Walk from ${at(from)} to ${at(to)}, ${walkWords(walk, house.robot.gaits[0]?.name)}`,
      })),
    },
    {
      name: "cues",
      kind: "cues",
      words: "cues",
      items: placedCues(sheet).map(({ id, ms, cue }) => ({
        id,
        ms,
        to: ms + (cue.for_ms ?? cue.fade_ms ?? 0),
        words: `${plainName(cue.output)} to ${Math.round(cue.level * 100)} % at ${at(ms)}`,
      })),
    },
    {
      name: "sound",
      kind: "sound",
      words: "sound",
      items: doc.sound ? [{ id: 0, ms: doc.sound.at_ms ?? 0, to: endMs(doc), words: `The sound ${plainName(doc.sound.name)} begins at ${at(doc.sound.at_ms ?? 0)}` }] : [],
    },
  ];
}

/** By which gait and course; with no speed it stands on its feet between two that walk, or after the last. */
export function walkWords({ gait, forward_mm_s, left_mm_s, turn_deg_s }: WalkStretch, usual = "walk"): string {
  const courses = [forward_mm_s && `${forward_mm_s} mm/s`, left_mm_s && `${left_mm_s} mm/s left`, turn_deg_s && `turns ${turn_deg_s}°/s`].filter(Boolean);
  return courses.length > 0 ? [plainName(gait ?? usual), ...courses].join(", ") : "stands";
}

/** What is wrong, and with what, in a few words. */
export function findingWords({ rule, subject }: FindingInfo): string {
  return `${rule.replace("-", " ")}${subject ? `, ${subject.replace(/_/g, " ")}` : ""}`;
}

/** Where rows are: from the top of the picture on, under the ruler. */
export function placed(rows: readonly Row[]): { row: Row; top: number; height: number }[] {
  let top = RULER;
  return rows.map((row) => {
    const height = HEIGHT[row.kind];
    top += height;
    return { row, top: top - height, height };
  });
}

export function heightOf(rows: readonly Row[]): number {
  return rows.reduce((sum, row) => sum + HEIGHT[row.kind], RULER);
}
