/** How near the joints are to what they cannot do: the ends of their ranges, and the torque of their servos. */

import type { House } from "../sheet.ts";

export const FREE = 0;
export const NEAR = 1;
export const ENDS = 2;
export type Strain = typeof FREE | typeof NEAR | typeof ENDS;

/** Nearer to its end than this, a joint is marked: practice, about what a horn is mounted off by. */
export const NEAR_DEG = 5;
const AT_DEG = 0.6;
/** Of the torque that is there. */
const MUCH = 0.8;

/** How a joint stands; `load` is the share of its torque that it takes, when that is known. */
export function strainOf(house: House, joint: number, deg: number, load: number | undefined): Strain {
  const { low_deg, high_deg } = house.maker;
  const left = Math.min((high_deg[joint] ?? 360) - deg, deg - (low_deg[joint] ?? -360));
  if (left <= AT_DEG || (load !== undefined && load > 1)) return ENDS;
  return left < NEAR_DEG || (load !== undefined && load > MUCH) ? NEAR : FREE;
}

export interface Hardest {
  /** The joint that is nearest to its end, when any is near. */
  range: { joint: string; left_deg: number } | null;
  /** The joint with the least torque to spare, when it is known. */
  torque: { joint: string; percent: number } | null;
}

export function hardest(house: House, joints_deg: readonly number[], load: readonly number[]): Hardest {
  const { robot, maker } = house;
  let range: Hardest["range"] = null;
  let torque: Hardest["torque"] = null;
  robot.joints.forEach((joint, i) => {
    const deg = joints_deg[i] ?? 0;
    const left_deg = Math.min((maker.high_deg[i] ?? 360) - deg, deg - (maker.low_deg[i] ?? -360));
    if (left_deg < NEAR_DEG && left_deg < (range?.left_deg ?? Infinity)) range = { joint, left_deg };
    const percent = 100 * (load[i] ?? Number.NaN);
    if (percent > (torque?.percent ?? 0)) torque = { joint, percent };
  });
  return { range, torque };
}
