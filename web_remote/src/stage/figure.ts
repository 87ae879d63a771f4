/** The robot's figure: trunk, legs and extra joints as cut paper with ink outlines. Body frame, mm. */

import {
  BackSide,
  Color,
  CylinderGeometry,
  ExtrudeGeometry,
  Group,
  Mesh,
  MeshBasicMaterial,
  MeshLambertMaterial,
  Shape as Outline,
  SphereGeometry,
  Sprite,
  SpriteMaterial,
} from "three";
import { fading } from "./fading.ts";
import { shape } from "../kinematics.ts";
import type { RobotInfo, State } from "../messages.gen.ts";
import { Inked } from "./inked.ts";
import type { Palette } from "./palette.ts";

const LINE = 1.7;

/** A bar along x from 0 to 1, thinner at its far end. */
function bar(): CylinderGeometry {
  const geometry = new CylinderGeometry(0.66, 1, 1, 14, 1, true);
  geometry.rotateZ(-Math.PI / 2);
  geometry.translate(0.5, 0, 0);
  return geometry;
}

/** A box with rounded corners and edges, `grow` larger on every side. */
function trunk([length, width, height]: RobotInfo["body_size_mm"], grow: number): ExtrudeGeometry {
  const [x, y, z] = [length / 2 + grow, width / 2 + grow, height / 2 + grow];
  const corner = Math.min(x, y) * 0.5;
  const bevel = Math.min(z * 0.5, corner * 0.6);
  const [a, b] = [x - bevel, y - bevel];
  const r = Math.max(1, corner - bevel);
  const outline = new Outline();
  outline.moveTo(-a + r, -b);
  outline.lineTo(a - r, -b).quadraticCurveTo(a, -b, a, -b + r);
  outline.lineTo(a, b - r).quadraticCurveTo(a, b, a - r, b);
  outline.lineTo(-a + r, b).quadraticCurveTo(-a, b, -a, b - r);
  outline.lineTo(-a, -b + r).quadraticCurveTo(-a, -b, -a + r, -b);
  const geometry = new ExtrudeGeometry(outline, {
    depth: 2 * (z - bevel),
    bevelThickness: bevel,
    bevelSize: bevel,
    bevelSegments: 4,
    curveSegments: 6,
  });
  geometry.translate(0, 0, -(z - bevel));
  return geometry;
}

export class Figure {
  readonly group = new Group();
  readonly #robot: RobotInfo;
  readonly #bars: Inked;
  readonly #balls: Inked;
  readonly #paper = new MeshLambertMaterial();
  readonly #ink = new MeshBasicMaterial({ side: BackSide });
  readonly #mark = new MeshBasicMaterial();
  readonly #owned: { dispose(): void }[] = [];
  /** The ball that stands for the lantern: the tip of the first extra joint, or none. */
  readonly #lantern: number;
  readonly #lamp: number;
  #palette: Palette | null = null;
  readonly #lit = new Color();
  readonly #fade = fading();
  readonly #halo = new Sprite(new SpriteMaterial({ map: this.#fade, transparent: true, depthWrite: false }));

  constructor(robot: RobotInfo) {
    this.#robot = robot;
    const legs = robot.legs.length;
    this.#bars = new Inked(bar(), 3 * legs + robot.extra.length, LINE);
    this.#balls = new Inked(new SphereGeometry(1, 18, 12), 4 * legs + 2 * robot.extra.length, LINE);
    this.#lamp = robot.outputs.findIndex(({ kind }) => kind === "lamp");
    this.#lantern = robot.extra.length > 0 && this.#lamp >= 0 ? 4 * legs + 1 : -1;

    const inner = trunk(robot.body_size_mm, 0);
    const outer = trunk(robot.body_size_mm, LINE);
    const nose = noseMark(robot);
    const body = new Group();
    body.position.set(...robot.body_centre_mm);
    body.add(new Mesh(outer, this.#ink), new Mesh(inner, this.#paper), new Mesh(nose, this.#mark));
    this.#owned.push(inner, outer, nose, this.#paper, this.#ink, this.#mark, this.#bars, this.#balls);
    this.#owned.push(this.#fade, this.#halo.material);
    this.#halo.visible = false;
    this.group.add(body, this.#bars.group, this.#balls.group, this.#halo);
  }

  colour(palette: Palette): void {
    this.#palette = palette;
    this.#bars.colour(palette.limb, palette.ink);
    this.#balls.colour(new Color(1, 1, 1), palette.ink);
    this.#paper.color.copy(palette.trunk);
    this.#ink.color.copy(palette.ink);
    this.#mark.color.copy(palette.ink);
    this.#halo.material.color.copy(palette.lit);
    for (let i = 0; i < 4 * this.#robot.legs.length + 2 * this.#robot.extra.length; i++) {
      this.#balls.tint(i, i % 4 === 3 && i < 4 * this.#robot.legs.length ? palette.ink : palette.limb);
    }
  }

  pose(state: State): void {
    const { legs, extra } = shape(this.#robot, state.joints_deg);
    legs.forEach(([hip, knee, shin, foot], i) => {
      const info = this.#robot.legs[i];
      if (!info) return;
      const thick = Math.max(4, info.foot_radius_mm);
      this.#bars.between(3 * i, hip, knee, thick * 2);
      this.#bars.between(3 * i + 1, knee, shin, thick * 1.9);
      this.#bars.between(3 * i + 2, shin, foot, thick * 1.35);
      this.#balls.at(4 * i, hip, thick * 2.4);
      this.#balls.at(4 * i + 1, knee, thick * 2);
      this.#balls.at(4 * i + 2, shin, thick * 1.7);
      this.#balls.at(4 * i + 3, foot, info.foot_radius_mm);
    });
    const first = this.#robot.legs.length;
    extra.forEach(([at, tip], i) => {
      const radius = this.#robot.extra[i]?.radius_mm ?? 8;
      this.#bars.between(3 * first + i, at, tip, Math.min(radius, 9));
      this.#balls.at(4 * first + 2 * i, at, Math.min(radius, 12));
      this.#balls.at(4 * first + 2 * i + 1, tip, radius * 0.9);
    });
    if (this.#lantern >= 0 && this.#palette) {
      const level = state.outputs[this.#lamp] ?? 0;
      const tip = extra[0]?.[1];
      this.#halo.visible = level > 0 && tip !== undefined;
      if (tip) this.#halo.position.set(...tip);
      this.#halo.scale.setScalar((this.#robot.extra[0]?.radius_mm ?? 10) * (5 + 5 * level));
      this.#halo.material.opacity = 0.25 + 0.6 * level;
      this.#balls.tint(this.#lantern, this.#lit.copy(this.#palette.unlit).lerp(this.#palette.lit, level));
    }
    this.#bars.done();
    this.#balls.done();
  }

  dispose(): void {
    for (const owned of this.#owned) owned.dispose();
  }
}

/** A chevron on the trunk's back that points forward. */
function noseMark(robot: RobotInfo): ExtrudeGeometry {
  const [length, width, height] = robot.body_size_mm;
  const [tip, wing] = [length * 0.36, width * 0.2];
  const [back, thick] = [tip - wing, 7];
  const outline = new Outline();
  outline.moveTo(tip, 0);
  outline.lineTo(back, wing);
  outline.lineTo(back - thick, wing);
  outline.lineTo(tip - thick * 1.6, 0);
  outline.lineTo(back - thick, -wing);
  outline.lineTo(back, -wing);
  const geometry = new ExtrudeGeometry(outline, { depth: 0.6, bevelEnabled: false });
  geometry.translate(0, 0, height / 2);
  return geometry;
}
