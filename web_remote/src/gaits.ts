/** What each gait is for, in plain words; how many feet stand in it is worked out, not told. */

import type { GaitInfo } from "./messages.gen.ts";

const FOR: Readonly<Record<string, string>> = {
  tripod: "Quick, for a level floor.",
  tetrapod: "Brisk, and steadier than on three.",
  ripple: "Smooth and unhurried.",
  wave: "Slow and very steady: for a load or a rough floor.",
  creep: "Careful: one leg at a time, and a pause between.",
};

/** The fewest feet that stand at any moment of a steady walk. */
export function fewestDown({ duty, touchdown }: Pick<GaitInfo, "duty" | "touchdown">): number {
  // Feet change just after a lift; a hair later is past every rounding.
  const moments = touchdown.map((at) => at + duty + 1e-6);
  return Math.min(
    ...moments.map((moment) => touchdown.filter((at) => (((moment - at) % 1) + 1) % 1 < duty).length),
  );
}

export function gaitWords(gait: GaitInfo): string {
  const legs = gait.touchdown.length;
  return `${FOR[gait.name] ?? "This robot’s own."} At least ${fewestDown(gait)} of ${legs} feet stand.`;
}
