/** Points at one joint: a ring of light around it, and an arrow the way in which its angle grows. Body frame, mm. */

import { ConeGeometry, CylinderGeometry, Group, Mesh, MeshBasicMaterial, SphereGeometry, Vector3 } from "three";
import { shape, type Vec3 } from "../kinematics.ts";
import type { RobotInfo, State } from "../messages.gen.ts";
import type { Palette } from "./palette.ts";

const UP = new Vector3(0, 1, 0);
const TURN_DEG = 8;

export class Pointer {
  readonly group = new Group();
  readonly #paint = new MeshBasicMaterial({ depthTest: false, transparent: true, opacity: 0.9 });
  readonly #glow = new MeshBasicMaterial({ depthTest: false, transparent: true, opacity: 0.45 });
  readonly #ball = new Mesh(new SphereGeometry(1, 18, 12), this.#glow);
  readonly #shaft = new Mesh(new CylinderGeometry(1, 1, 1, 10), this.#paint);
  readonly #head = new Mesh(new ConeGeometry(1, 1, 14), this.#paint);

  constructor() {
    this.group.add(this.#ball, this.#shaft, this.#head);
    for (const part of this.group.children) part.renderOrder = 5;
    this.group.visible = false;
  }

  colour(palette: Palette): void {
    this.#paint.color.copy(palette.support);
    this.#glow.color.copy(palette.lit);
  }

  /** Point at the joint of this number, or at none. */
  show(robot: RobotInfo, state: State, joint: number): void {
    const there = ends(robot, state.joints_deg, joint);
    const more = state.joints_deg.map((angle, i) => (i === joint ? angle + TURN_DEG : angle));
    const turned = ends(robot, more, joint);
    this.group.visible = there !== null && turned !== null;
    if (!there || !turned) return;
    const tip = new Vector3(...there.tip);
    const way = new Vector3(...turned.tip).sub(tip);
    const reach = Math.max(55, tip.distanceTo(new Vector3(...there.axis)) * 0.65);
    if (way.length() < 1e-6) way.set(0, 0, 1);
    way.normalize();
    this.#ball.position.set(...there.axis);
    this.#ball.scale.setScalar(reach * 0.3);
    this.#shaft.position.copy(tip).addScaledVector(way, reach * 0.4);
    this.#shaft.scale.set(reach * 0.06, reach * 0.8, reach * 0.06);
    this.#head.position.copy(tip).addScaledVector(way, reach * 0.9);
    this.#head.scale.set(reach * 0.17, reach * 0.4, reach * 0.17);
    for (const part of [this.#shaft, this.#head]) part.quaternion.setFromUnitVectors(UP, way);
  }

  dispose(): void {
    for (const part of [this.#ball, this.#shaft, this.#head]) part.geometry.dispose();
    this.#paint.dispose();
    this.#glow.dispose();
  }
}

/** Where a joint's axis is, and a point that shows best how it turns. */
function ends(robot: RobotInfo, joints: readonly number[], joint: number): { axis: Vec3; tip: Vec3 } | null {
  const { legs, extra } = shape(robot, joints);
  const leg = legs[Math.floor(joint / 3)];
  if (joint >= 0 && leg) {
    const part = joint % 3;
    const axis = leg[part === 0 ? 0 : part === 1 ? 1 : 2];
    return { axis, tip: leg[part === 1 ? 2 : 3] };
  }
  const other = extra[joint - 3 * legs.length];
  return joint >= 0 && other ? { axis: other[0], tip: other[1] } : null;
}
