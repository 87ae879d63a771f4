/**
 * Where the robot's parts are, from its joint angles: for drawing, in millimetres and degrees as the
 * hub sends them. The conventions are those of motionhub/robot/model.py: a leg's coxa turns about +z,
 * its femur and tibia lift; at zero a leg is a straight line along its heading. The body's attitude is
 * Rz(yaw) · Ry(pitch) · Rx(roll).
 */

import type { ExtraInfo, LegInfo, RobotInfo, State } from "./messages.gen.ts";

export type Vec3 = readonly [number, number, number];
export type Vec2 = readonly [number, number];
/** Rows of a rotation. */
export type Mat3 = readonly [Vec3, Vec3, Vec3];

const DEG = Math.PI / 180;

export const IDENTITY: Mat3 = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];

export function add(a: Vec3, b: Vec3): Vec3 {
  return [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
}

export function rotate(m: Mat3, v: Vec3): Vec3 {
  const row = (r: Vec3): number => r[0] * v[0] + r[1] * v[1] + r[2] * v[2];
  return [row(m[0]), row(m[1]), row(m[2])];
}

export function times(a: Mat3, b: Mat3): Mat3 {
  const column = (i: 0 | 1 | 2): Vec3 => rotate(a, [b[0][i], b[1][i], b[2][i]]);
  const [x, y, z] = [column(0), column(1), column(2)];
  return [
    [x[0], y[0], z[0]],
    [x[1], y[1], z[1]],
    [x[2], y[2], z[2]],
  ];
}

/** Turn by `angle` radians about a unit `axis`: Rodrigues' formula. */
export function about(axis: Vec3, angle: number): Mat3 {
  const [x, y, z] = axis;
  const c = Math.cos(angle);
  const s = Math.sin(angle);
  const t = 1 - c;
  return [
    [t * x * x + c, t * x * y - s * z, t * x * z + s * y],
    [t * x * y + s * z, t * y * y + c, t * y * z - s * x],
    [t * x * z - s * y, t * y * z + s * x, t * z * z + c],
  ];
}

/** The attitude of a body by roll, pitch and yaw in degrees. */
export function attitude(roll: number, pitch: number, yaw: number): Mat3 {
  return times(about([0, 0, 1], yaw * DEG), times(about([0, 1, 0], pitch * DEG), about([1, 0, 0], roll * DEG)));
}

/** Hip, femur's axis, tibia's axis and foot centre of a leg in the body frame. */
export type LegPoints = readonly [Vec3, Vec3, Vec3, Vec3];

/** A leg's points from its three joint angles in degrees. */
export function legPoints(leg: LegInfo, coxa: number, femur: number, tibia: number): LegPoints {
  const heading = (leg.heading_deg + coxa) * DEG;
  const lift = femur * DEG;
  const bend = (femur + tibia) * DEG;
  const out = (from: Vec3, length: number, raised: number): Vec3 => {
    const reach = length * Math.cos(raised);
    return add(from, [reach * Math.cos(heading), reach * Math.sin(heading), length * Math.sin(raised)]);
  };
  const hip: Vec3 = leg.hip_mm;
  const knee = out(hip, leg.coxa_mm, 0);
  const shin = out(knee, leg.femur_mm, lift);
  return [hip, knee, shin, out(shin, leg.tibia_mm, bend)];
}

/** An extra joint's axis point and tip in the body frame. */
export type ExtraPoints = readonly [Vec3, Vec3];

/** All extra joints; a parent may come later in the list than its child. */
export function extraPoints(extra: readonly ExtraInfo[], degrees: readonly number[]): ExtraPoints[] {
  const frames = new Map<number, { turned: Mat3; at: Vec3 }>();
  const frame = (i: number, depth: number): { turned: Mat3; at: Vec3 } => {
    const known = frames.get(i);
    if (known) return known;
    const joint = extra[i];
    if (!joint || depth > extra.length) return { turned: IDENTITY, at: [0, 0, 0] };
    const parent = frame(joint.parent, depth + 1);
    const made = {
      turned: times(parent.turned, about(joint.axis, (degrees[i] ?? 0) * DEG)),
      at: add(parent.at, rotate(parent.turned, joint.at_mm)),
    };
    frames.set(i, made);
    return made;
  };
  return extra.map((joint, i) => {
    const { turned, at } = frame(i, 0);
    return [at, add(at, rotate(turned, joint.tip_mm))];
  });
}

/** The robot in its own body frame. */
export interface Shape {
  legs: LegPoints[];
  extra: ExtraPoints[];
}

export function shape(robot: RobotInfo, joints_deg: readonly number[]): Shape {
  const angle = (i: number): number => joints_deg[i] ?? 0;
  return {
    legs: robot.legs.map((leg, i) => legPoints(leg, angle(3 * i), angle(3 * i + 1), angle(3 * i + 2))),
    extra: extraPoints(robot.extra, joints_deg.slice(3 * robot.legs.length)),
  };
}

/** Foot centres over the ground, (L), in the ground frame. */
export function feetOnGround(figure: Shape, body: State["body"]): Vec3[] {
  const turned = attitude(body[3], body[4], body[5]);
  const at: Vec3 = [body[0], body[1], body[2]];
  return figure.legs.map((points) => add(at, rotate(turned, points[3])));
}

/**
 * The support polygon: the convex hull of the feet that are down, counter-clockwise (Andrew's monotone
 * chain, Information Processing Letters 9(5), 1979). Fewer than three points are returned as they are.
 */
export function hull(points: readonly Vec2[]): Vec2[] {
  const sorted = [...points].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  if (sorted.length < 3) return sorted;
  const half = (ordered: readonly Vec2[]): Vec2[] => {
    const chain: Vec2[] = [];
    for (const p of ordered) {
      for (;;) {
        const b = chain.at(-1);
        const a = chain.at(-2);
        if (!a || !b || (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) > 0) break;
        chain.pop();
      }
      chain.push(p);
    }
    chain.pop();
    return chain;
  };
  return [...half(sorted), ...half(sorted.reverse())];
}
