/** A small move to play with, made for whatever robot there is: it sways, lifts a front foot, and waves it. */

import { BODY_AXES, type Offset, type Pose, type SequenceFile } from "../document.ts";
import { AT_REST, type Body, resisting } from "../reach.ts";
import type { House } from "../sheet.ts";

const SWAY_MM = 14;
const LIFT_MM = 45;
const WAVE_MM = 18;

export function sample(name: string, house: House): SequenceFile {
  const { robot } = house;
  const [leg] = robot.legs.map((_, i) => i).sort((a, b) => ahead(house, b) - ahead(house, a));
  const at = (body: Body, y: number, z: number): Offset => {
    const [x_mm, y_mm, z_mm] = resisting(house, body, leg ?? 0, [0, 0, 0], [0, y, z]);
    return { x_mm: Math.round(x_mm), y_mm: Math.round(y_mm), z_mm: Math.floor(z_mm) };
  };
  const left = (robot.legs[leg ?? 0]?.hip_mm[1] ?? 1) >= 0 ? 1 : -1;
  // Back and to the other side, off the foot that is lifted.
  const swayed: Body = [-SWAY_MM, -left * SWAY_MM, 0, 0, 0, 0];
  const rest: Pose = { body: Object.fromEntries(BODY_AXES.map((axis) => [axis, 0])) };
  const foot = (offset: Offset): Pose => ({ feet: { [robot.legs[leg ?? 0]?.name ?? ""]: offset } });
  const still: Offset = { x_mm: 0, y_mm: 0, z_mm: 0 };
  const sway: Pose = { body: { x_mm: swayed[0], y_mm: swayed[1] } };
  return {
    format: "motionhub-sequence/1",
    name,
    keyframes: [
      { at_ms: 0, ...rest, ...foot(still) },
      { at_ms: 700, ...sway, ...foot(still) },
      { at_ms: 1400, ...foot(at(swayed, 0, LIFT_MM)) },
      { at_ms: 1900, ...foot(at(swayed, WAVE_MM, LIFT_MM)) },
      { at_ms: 2400, ...foot(at(swayed, -WAVE_MM, LIFT_MM)) },
      { at_ms: 2900, ...foot(at(swayed, WAVE_MM, LIFT_MM)) },
      { at_ms: 3400, ...sway, ...foot(at(AT_REST, 0, LIFT_MM / 2)) },
      { at_ms: 3900, ...sway, ...foot(still) },
      { at_ms: 4600, ...rest, ...foot(still) },
    ],
  };
}

function ahead(house: House, leg: number): number {
  const [x = 0, y = 0] = house.robot.legs[leg]?.hip_mm ?? [];
  // Of the two in front the left one.
  return x + (y > 0 ? 0.01 : 0);
}
