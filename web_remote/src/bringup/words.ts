/** What joints, steps and ways are called on the screens of bring-up. */

import type { Bringup, BringupJoint, BringupLeg, BringupSaw } from "../messages.gen.ts";
import { capital, plainName } from "../words.ts";

export type StepName = Bringup["step"];
/** Whether a joint's angle grows or shrinks. */
export type Way = NonNullable<BringupSaw["way"]>;
export type LegWay = BringupLeg["way"];

export const STEPS: Record<StepName, string> = {
  ready: "Before you begin",
  centre: "Fit the horns",
  look: "What moves?",
  angles: "Angles",
  ends: "Ends",
  level: "Level",
  legs: "Each leg",
  floor: "On the floor",
};

/** `left_front.femur` as `Left front femur`. */
export function jointWords(name: string): string {
  return capital(plainName(name.replace(".", " ")));
}

export type Kind = "coxa" | "femur" | "tibia" | "other";

export function kindOf(name: string): Kind {
  const part = name.split(".")[1];
  return part === "coxa" || part === "femur" || part === "tibia" ? part : "other";
}

/** The two ways in which a joint goes, the one of growing angles first. */
export function ways(name: string): readonly [string, string] {
  const kind = kindOf(name);
  if (kind === "coxa") return ["Left", "Right"];
  return kind === "other" ? ["As the arrow", "Against the arrow"] : ["Up", "Down"];
}

/** Which way is plus, where the protractor's zero is. */
export function measured(name: string): string {
  switch (kindOf(name)) {
    case "coxa":
      return "Seen from above. Straight out from the body is 0°, plus is to the left.";
    case "femur":
      return "Seen from the side. Level is 0°, plus is up.";
    case "tibia":
      return "From the femur’s line. In one line with it is 0°, bent down is minus.";
    case "other":
      return "From where its drawing has it. Plus is as the arrow shows.";
  }
}

/** The same joint on the other side, if there is one. */
export function opposite(name: string, joints: readonly BringupJoint[]): string | null {
  const other = name.startsWith("left") ? name.replace(/^left/, "right") : name.replace(/^right/, "left");
  return other !== name && joints.some((joint) => joint.name === other) ? other : null;
}

export function deg(value: number): string {
  const rounded = Math.round(value * 10) / 10;
  return `${rounded > 0 ? "+" : rounded < 0 ? "−" : ""}${Math.abs(rounded).toFixed(1)}°`;
}

export function us(value: number): string {
  return `${Math.round(value)} µs`;
}

/** Minutes that all of it still takes, by practice: to five, or to one when it is nearly over. */
export function minutesLeft({ steps }: Pick<Bringup, "steps">): number {
  const left = steps.reduce((sum, { minutes }) => sum + minutes, 0);
  return left > 10 ? Math.round(left / 5) * 5 : Math.ceil(left);
}

export interface Place {
  step: StepName;
  item: string;
}

/** What comes after or before an item, over all steps; null at the ends. */
export function beside(bringup: Bringup, here: Place, by: 1 | -1): Place | null {
  const all = bringup.steps.flatMap(({ name, items }) => items.map((item) => ({ step: name, item })));
  const at = all.findIndex(({ step, item }) => step === here.step && item === here.item);
  return at < 0 ? null : (all[at + by] ?? null);
}

/** Where people are: as the hub has it, or at the step's beginning. */
export function placeOf(bringup: Bringup): Place {
  const step = bringup.steps.find(({ name }) => name === bringup.step);
  if (step?.items.includes(bringup.item)) return { step: bringup.step, item: bringup.item };
  return { step: bringup.step, item: step?.items[0] ?? "" };
}

export function isDone(bringup: Bringup, { step, item }: Place): boolean {
  return bringup.steps.some(({ name, done }) => name === step && done.includes(item));
}
