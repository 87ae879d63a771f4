/** Left and right, and one leg like another: how what a key says of one part is said of its counterpart. */

import type { LegInfo, RobotInfo } from "../messages.gen.ts";
import type { Channel, Pose } from "./document.ts";
import { channels, LEG_PARTS, poseOf } from "./document.ts";

/** The two are taken for counterparts when their mirrored places are no further apart than this. */
const NEAR_MM = 12;

/** The leg at the same place of the other side; null where there is none. */
export function oppositeOf(robot: RobotInfo, name: string): string | null {
  const leg = robot.legs.find((other) => other.name === name);
  if (!leg) return null;
  return nearest(
    robot.legs.filter((other) => other !== leg),
    ({ hip_mm }) => Math.hypot(hip_mm[0] - leg.hip_mm[0], hip_mm[1] + leg.hip_mm[1], hip_mm[2] - leg.hip_mm[2]),
  );
}

function nearest<T extends { name: string }>(parts: readonly T[], far: (part: T) => number): string | null {
  const [best] = [...parts].sort((a, b) => far(a) - far(b));
  return best && far(best) <= NEAR_MM ? best.name : null;
}

export function side(leg: LegInfo): "left" | "right" {
  return leg.hip_mm[1] >= 0 ? "left" : "right";
}

/** The joint that an extra joint becomes in the mirror, and with which sign. */
function mirroredJoint(robot: RobotInfo, name: string): [string, number] {
  const own = robot.extra.find((joint) => joint.name === name);
  if (!own) return [name, 1];
  const [x, y, z] = own.at_mm;
  const others = robot.extra.filter((other) => other !== own && Math.abs(other.at_mm[1]) > NEAR_MM / 2);
  const other = Math.abs(y) > NEAR_MM / 2
    ? nearest(others, ({ at_mm }) => Math.hypot(at_mm[0] - x, at_mm[1] + y, at_mm[2] - z))
    : null;
  const to = robot.extra.find((joint) => joint.name === other) ?? own;
  // An axis is a pseudovector: in the mirror of the x-z plane it keeps its y and turns the rest round.
  const along = -own.axis[0] * to.axis[0] + own.axis[1] * to.axis[1] - own.axis[2] * to.axis[2];
  return [to.name, along >= 0 ? 1 : -1];
}

const TURNED = new Set(["body.y_mm", "body.roll_deg", "body.yaw_deg"]);

/** What a pose says of left, said of right, and the other way round. */
export function mirrored(robot: RobotInfo, pose: Pose): Pose {
  return poseOf([...channels(pose)].map(([channel, value]) => mirroredChannel(robot, channel, value)));
}

function mirroredChannel(robot: RobotInfo, channel: Channel, value: number): [Channel, number] {
  // Not -0, which is no other place.
  const sign = (by: number): number => by * value + 0;
  if (channel.startsWith("body.")) return [channel, TURNED.has(channel) ? sign(-1) : value];
  const dot = channel.lastIndexOf(".");
  const part = channel.slice(dot + 1);
  if (channel.startsWith("feet.")) {
    const leg = channel.slice(5, dot);
    return [`feet.${oppositeOf(robot, leg) ?? leg}.${part}`, part === "y_mm" ? sign(-1) : value];
  }
  const joint = channel.slice("joints_deg.".length);
  const leg = robot.legs.find(({ name }) => LEG_PARTS.some((own) => `${name}.${own}` === joint));
  if (leg) return [`joints_deg.${oppositeOf(robot, leg.name) ?? leg.name}.${part}`, part === "coxa" ? sign(-1) : value];
  const [name, by] = mirroredJoint(robot, joint);
  return [`joints_deg.${name}`, sign(by)];
}

/**
 * What a pose says of one leg, said of another: as far out, as high, and as far towards the front where it is the
 * opposite one; else as far out and aside as its own heading has it, mirrored on the other side.
 */
export function likeLeg(robot: RobotInfo, pose: Pose, from: string, to: string): Pose {
  const [source, target] = [from, to].map((name) => robot.legs.find((leg) => leg.name === name));
  if (!source || !target || source === target) return {};
  const offset = pose.feet?.[from];
  const joints: Record<string, number> = {};
  const flip = side(source) === side(target) ? 1 : -1;
  for (const part of LEG_PARTS) {
    const value = pose.joints_deg?.[`${from}.${part}`];
    if (value !== undefined) joints[`${to}.${part}`] = part === "coxa" ? flip * value + 0 : value;
  }
  return {
    ...(offset && { feet: { [to]: turned(offset, source, target, flip, oppositeOf(robot, from) === to) } }),
    ...(Object.keys(joints).length > 0 && { joints_deg: joints }),
  };
}

function turned(
  offset: NonNullable<Pose["feet"]>[string],
  source: LegInfo,
  target: LegInfo,
  flip: number,
  opposite: boolean,
): NonNullable<Pose["feet"]>[string] {
  const { x_mm, y_mm, ...up } = offset;
  if (x_mm === undefined && y_mm === undefined) return up;
  if (opposite) return { ...(x_mm !== undefined && { x_mm }), ...(y_mm !== undefined && { y_mm: -y_mm + 0 }), ...up };
  const [x, y] = [x_mm ?? 0, y_mm ?? 0];
  const rad = Math.PI / 180;
  const [a, b] = [source.heading_deg * rad, target.heading_deg * rad];
  const ahead = x * Math.cos(a) + y * Math.sin(a);
  const aside = flip * (y * Math.cos(a) - x * Math.sin(a));
  const round = (mm: number): number => Math.round(mm * 100) / 100 + 0;
  return {
    x_mm: round(ahead * Math.cos(b) - aside * Math.sin(b)),
    y_mm: round(ahead * Math.sin(b) + aside * Math.cos(b)),
    ...up,
  };
}
