/**
 * What can be taken hold of in the 3D view, and what a drag of it means: feet, body and other joints, and for the part
 * that is held a bead on a cord for each other way in which it goes. Ground frame, mm; no browser.
 */

import { add, attitude, rotate, type Shape, type Vec3 } from "../../kinematics.ts";
import type { RobotInfo, State } from "../../messages.gen.ts";
import type { Sight } from "../../stage/view.ts";
import { capital } from "../../words.ts";
import type { BodyAxis, Lane } from "../document.ts";
import type { House } from "../sheet.ts";
import { partWords } from "./words.ts";

/**
 * lift: upright, as the hand goes in the picture. floor: over the ground. lean: a mast that leans the body. turn: a
 * bead before the nose that turns it. swing: a joint's tip.
 */
export type Does = "lift" | "floor" | "lean" | "turn" | "swing";

export interface Grip {
  id: string;
  part: Lane;
  does: Does;
  /** What it is called, for those who do not see it. */
  label: string;
  /** Which leg, or which of the extra joints; -1 for the body. */
  index: number;
}

const CORD = { floor: 70, lean: 95, turn: 70 } as const;

/** All that can be taken hold of while `part` is the one that is held. */
export function gripsOf(house: House, part: Lane): Grip[] {
  const { robot } = house;
  const found: Grip[] = [{ id: "body", part: "body", does: "lift", label: "Body", index: -1 }];
  robot.legs.forEach(({ name }, index) => {
    const own: Lane = `leg:${name}`;
    const label = `${capital(partWords(own))} foot`;
    found.push({ id: own, part: own, does: "lift", label, index });
    if (own === part) found.push({ id: `${own} floor`, part: own, does: "floor", label: `${label} over the ground`, index });
  });
  robot.extra.forEach(({ name }, index) => {
    const own: Lane = `joint:${name}`;
    found.push({ id: own, part: own, does: "swing", label: capital(partWords(own)), index });
  });
  if (part === "body") {
    found.push({ id: "body floor", part, does: "floor", label: "Body over the ground", index: -1 });
    found.push({ id: "body lean", part, does: "lean", label: "Body, leaning", index: -1 });
    found.push({ id: "body turn", part, does: "turn", label: "Body, turning", index: -1 });
  }
  return found;
}

/** A point of the body's frame, over the ground. */
export function outOf(body: State["body"], local: Vec3): Vec3 {
  return add([body[0], body[1], body[2]], rotate(attitude(body[3], body[4], body[5]), local));
}

/** Where the trunk is taken hold of: the middle of its back. */
function back(robot: RobotInfo): Vec3 {
  const [x, y, z] = robot.body_centre_mm;
  return [x, y, z + robot.body_size_mm[2] / 2];
}

/** Where a grip is, for the robot as it is drawn. */
export function whereIs(grip: Grip, robot: RobotInfo, figure: Shape, body: State["body"]): Vec3 {
  const { does, index } = grip;
  const [long, wide] = robot.body_size_mm;
  if (does === "swing") return outOf(body, figure.extra[index]?.[1] ?? [0, 0, 0]);
  if (index >= 0) {
    const foot = outOf(body, figure.legs[index]?.[3] ?? [0, 0, 0]);
    if (does === "lift") return foot;
    // Out from the body, so that the bead lies beside the foot that stands.
    const [dx, dy] = [foot[0] - body[0], foot[1] - body[1]];
    const far = Math.hypot(dx, dy) || 1;
    return [foot[0] + (dx / far) * CORD.floor, foot[1] + (dy / far) * CORD.floor, 0];
  }
  const [x, y, z] = back(robot);
  if (does === "lean") return outOf(body, [x, y, z + CORD.lean]);
  if (does === "turn") return outOf(body, [x + long / 2 + CORD.turn, y, z]);
  if (does === "floor") {
    const turn = (body[5] * Math.PI) / 180;
    const behind = long / 2 + wide / 2 + CORD.floor;
    return [body[0] - behind * Math.cos(turn), body[1] - behind * Math.sin(turn), 0];
  }
  return outOf(body, [x, y, z]);
}

/** Where a grip's cord is tied, or null where it hangs on none. */
export function tiedTo(grip: Grip, robot: RobotInfo, figure: Shape, body: State["body"]): Vec3 | null {
  if (grip.does === "lift" || grip.does === "swing") return null;
  if (grip.index >= 0) return whereIs({ ...grip, does: "lift" }, robot, figure, body);
  const [x, y, z] = back(robot);
  if (grip.does === "turn") return outOf(body, [x + robot.body_size_mm[0] / 2, y, z]);
  if (grip.does === "floor") return [body[0], body[1], 0];
  return outOf(body, [x, y, z]);
}

/** Looking down more steeply than this, a hand means the ground and not the height. */
const STEEP = 1.05;

/** The step of a point that follows a hand `dx`, `dy` px right and down in the picture. */
export function stepOf(does: Does, { mm_per_px, right, away, above }: Sight, dx: number, dy: number): Vec3 {
  const aside = dx * mm_per_px;
  if (does === "lift" && above < STEEP) {
    return [right[0] * aside, right[1] * aside, (-dy * mm_per_px) / Math.max(0.4, Math.cos(above))];
  }
  // Where one looks along the floor, a pixel would be a very long way.
  const on = (-dy * mm_per_px) / Math.max(0.35, Math.sin(above));
  return [right[0] * aside + away[0] * on, right[1] * aside + away[1] * on, 0];
}

/** mm of the mast's bead for one radian: longer than the mast, so that a hand leans it finely. */
const MAST_MM = 230;
const DEG = 180 / Math.PI;

/** What a step of a body's bead wishes for the body, from where it began; the step is in the robot's frame at rest. */
export function bodyWish(does: Does, began: readonly number[], [sx, sy, sz]: Vec3, robot: RobotInfo): Partial<Record<BodyAxis, number>> {
  const at = (i: number): number => began[i] ?? 0;
  if (does === "lift") return { x_mm: at(0) + sx, y_mm: at(1) + sy, z_mm: at(2) + sz };
  if (does === "floor") return { x_mm: at(0) + sx, y_mm: at(1) + sy };
  const turn = at(5) / DEG;
  const [ahead, left] = [sx * Math.cos(turn) + sy * Math.sin(turn), sy * Math.cos(turn) - sx * Math.sin(turn)];
  if (does === "lean") return { roll_deg: at(3) - (left / MAST_MM) * DEG, pitch_deg: at(4) + (ahead / MAST_MM) * DEG };
  return { yaw_deg: at(5) + (left / (robot.body_size_mm[0] / 2 + CORD.turn)) * DEG };
}

/** What an arrow or Page key moves, along x, y and z of the robot at rest. */
export const KEY_STEPS: Readonly<Record<string, Vec3>> = {
  ArrowUp: [1, 0, 0],
  ArrowDown: [-1, 0, 0],
  ArrowLeft: [0, 1, 0],
  ArrowRight: [0, -1, 0],
  PageUp: [0, 0, 1],
  PageDown: [0, 0, -1],
};
