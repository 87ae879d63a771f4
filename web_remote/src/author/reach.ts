/**
 * From where body and feet shall be to joint angles, for dragging: as motionhub/motion/posing.py and
 * motionhub/robot/kinematics.py have it, in mm and degrees. tests/author holds the two together.
 */

import { add, attitude, type Mat3, rotate, shape, type Vec3 } from "../kinematics.ts";
import type { LegInfo } from "../messages.gen.ts";
import { BODY_AXES, type Pose } from "./document.ts";
import type { House } from "./sheet.ts";

const DEG = Math.PI / 180;

/** x_mm, y_mm, z_mm, roll_deg, pitch_deg, yaw_deg from rest. */
export type Body = readonly [number, number, number, number, number, number];
export const AT_REST: Body = [0, 0, 0, 0, 0, 0];

export interface LegAnswer {
  /** Coxa, femur and tibia that put the foot there, or as near as the leg gets. */
  degrees: readonly [number, number, number];
  /** How far from there, in mm: 0 where it reaches. */
  misses_mm: number;
}

/** Joint angles that put a leg's foot at a place in the body's frame: knee up, facing the foot if its coxa can. */
export function legAngles(leg: LegInfo, foot: Vec3, coxa_deg: readonly [number, number]): LegAnswer {
  const asked: Vec3 = [foot[0] - leg.hip_mm[0], foot[1] - leg.hip_mm[1], foot[2] - leg.hip_mm[2]];
  const [cos, sin] = [Math.cos(leg.heading_deg * DEG), Math.sin(leg.heading_deg * DEG)];
  // + 0 turns -0 into 0, for which atan2 would answer π.
  const ahead = asked[0] * cos + asked[1] * sin + 0;
  const aside = asked[1] * cos - asked[0] * sin;
  const turn = Math.atan2(aside, ahead);
  const away = Math.atan2(-aside, -ahead);
  const [low, high] = [coxa_deg[0] * DEG, coxa_deg[1] * DEG];
  const back = (turn < low || turn > high) && away >= low && away <= high;
  const out = (back ? -1 : 1) * Math.hypot(ahead, aside) - leg.coxa_mm;
  const up = asked[2] + 0;
  const [femur, tibia] = [leg.femur_mm, leg.tibia_mm];
  const distance = Math.hypot(out, up);
  const reached = Math.min(Math.max(distance, Math.abs(femur - tibia)), femur + tibia);
  const bend = (reached * reached - femur * femur - tibia * tibia) / (2 * femur * tibia);
  const knee = Math.acos(Math.min(1, Math.max(-1, bend)));
  const lift = Math.atan2(up, out) + Math.atan2(tibia * Math.sin(knee), femur + tibia * Math.cos(knee));
  return {
    degrees: [(back ? away : turn) / DEG, (lift > Math.PI ? lift - 2 * Math.PI : lift) / DEG, -knee / DEG],
    misses_mm: Math.abs(distance - reached),
  };
}

export function bodyOf(pose: Pose): Body {
  return BODY_AXES.map((axis) => pose.body?.[axis] ?? 0) as unknown as Body;
}

/** A point of the stance frame, in the body's; and the other way round. */
export function toBody(house: House, body: Body, point: Vec3): Vec3 {
  const turn = attitude(body[3], body[4], body[5]);
  const height = house.robot.rest_height_mm;
  return rotate(transposed(turn), [point[0] - body[0], point[1] - body[1], point[2] - body[2] - height]);
}

export function fromBody(house: House, body: Body, point: Vec3): Vec3 {
  const [x, y, z] = rotate(attitude(body[3], body[4], body[5]), point);
  return add([x, y, z], [body[0], body[1], body[2] + house.robot.rest_height_mm]);
}

function transposed(m: Mat3): Mat3 {
  return [
    [m[0][0], m[1][0], m[2][0]],
    [m[0][1], m[1][1], m[2][1]],
    [m[0][2], m[1][2], m[2][2]],
  ];
}

export interface Posed {
  joints_deg: number[];
  /** Per leg. */
  misses_mm: number[];
}

/**
 * All joints for the body at `body` and feet at `feet_mm` in the stance frame (x forward, y left, z up from the
 * ground, the origin under the body at rest). Extra joints are at rest.
 */
export function jointsFor(house: House, body: Body, feet_mm: readonly Vec3[]): Posed {
  const { robot, maker } = house;
  const joints = [...maker.rest_deg];
  const misses = robot.legs.map((leg, i) => {
    const foot = toBody(house, body, feet_mm[i] ?? [0, 0, 0]);
    const range = [maker.low_deg[3 * i] ?? -180, maker.high_deg[3 * i] ?? 180] as const;
    const { degrees, misses_mm } = legAngles(leg, foot, range);
    joints.splice(3 * i, 3, ...degrees);
    return misses_mm;
  });
  return { joints_deg: joints, misses_mm: misses };
}

/** All joints of a pose on top of the rest stance: its body, its feet, and last the angles that it gives itself. */
export function posed(house: House, pose: Pose): Posed {
  const { robot, maker } = house;
  const feet = robot.legs.map(({ name }, i): Vec3 => {
    const rest = maker.rest_feet_mm[i] ?? [0, 0, 0];
    const { x_mm = 0, y_mm = 0, z_mm = 0 } = pose.feet?.[name] ?? {};
    return [rest[0] + x_mm, rest[1] + y_mm, rest[2] + z_mm];
  });
  const found = jointsFor(house, bodyOf(pose), feet);
  for (const [name, degrees] of Object.entries(pose.joints_deg ?? {})) {
    const joint = robot.joints.indexOf(name);
    found.joints_deg[joint] = degrees;
    if (joint < 3 * robot.legs.length) found.misses_mm[Math.floor(joint / 3)] = 0;
  }
  return found;
}

/** How far each foot is from where it stands at rest, for joints and a body: what a key of that foot would say. */
export function footOffsets(house: House, joints_deg: readonly number[], body: Body): Vec3[] {
  return shape(house.robot, joints_deg).legs.map((points, i) => {
    const [x, y, z] = fromBody(house, body, points[3]);
    const rest = house.maker.rest_feet_mm[i] ?? [0, 0, 0];
    return [x - rest[0], y - rest[1], z - rest[2]];
  });
}

/** The joints of one leg that are outside their ranges, as far as `by` degrees beyond. */
export function beyond(house: House, joints_deg: readonly number[]): { joint: string; by: number }[] {
  const { robot, maker } = house;
  return robot.joints.flatMap((joint, i) => {
    const value = joints_deg[i] ?? 0;
    const by = Math.max(value - (maker.high_deg[i] ?? 360), (maker.low_deg[i] ?? -360) - value);
    return by > 1e-3 ? [{ joint, by }] : [];
  });
}

/**
 * The nearest place to `wanted` (from rest, mm) that the leg reaches within its ranges, seen from where it was: a
 * foot that is dragged too far stays at its limit instead of jumping. `was` has to be reachable.
 */
export function resisting(house: House, body: Body, leg: number, was: Vec3, wanted: Vec3): Vec3 {
  const reaches = (offset: Vec3): boolean => legReaches(house, body, leg, offset);
  if (reaches(wanted)) return wanted;
  // As far as it goes all at once, then along each axis by itself: it slides along its limit.
  let at = furthest(was, wanted, reaches);
  for (const axis of [0, 1, 2] as const) {
    const to: Vec3 = [at[0], at[1], at[2]].map((value, k) => (k === axis ? wanted[k as 0 | 1 | 2] : value)) as unknown as Vec3;
    at = furthest(at, to, reaches);
  }
  return at;
}

/** Whether a leg within its ranges puts its foot at `offset` from where it stands at rest, mm. */
export function legReaches(house: House, body: Body, leg: number, offset: Vec3): boolean {
  const [info, rest] = [house.robot.legs[leg], house.maker.rest_feet_mm[leg]];
  if (!info || !rest) return false;
  const { low_deg, high_deg } = house.maker;
  const foot = toBody(house, body, add(rest, offset));
  const { degrees, misses_mm } = legAngles(info, foot, [low_deg[3 * leg] ?? -180, high_deg[3 * leg] ?? 180]);
  if (misses_mm > 0.05) return false;
  return degrees.every((d, k) => d >= (low_deg[3 * leg + k] ?? -360) - 1e-3 && d <= (high_deg[3 * leg + k] ?? 360) + 1e-3);
}

function furthest(from: Vec3, to: Vec3, reaches: (at: Vec3) => boolean): Vec3 {
  let [low, high] = [0, 1];
  const along = (s: number): Vec3 => [0, 1, 2].map((k) => (from[k as 0] as number) + s * ((to[k as 0] as number) - (from[k as 0] as number))) as unknown as Vec3;
  for (let i = 0; i < 14; i++) {
    const middle = (low + high) / 2;
    if (reaches(along(middle))) low = middle;
    else high = middle;
  }
  return along(low);
}
