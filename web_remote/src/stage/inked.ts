/** Many like parts drawn at once, each with an ink outline: its own shape, a little larger, seen from inside. */

import {
  BackSide,
  type BufferGeometry,
  type Color,
  Group,
  InstancedMesh,
  Matrix4,
  MeshBasicMaterial,
  MeshLambertMaterial,
  Quaternion,
  Vector3,
} from "three";
import type { Vec3 } from "../kinematics.ts";

const X = new Vector3(1, 0, 0);

export class Inked {
  readonly group = new Group();
  readonly fill = new MeshLambertMaterial();
  readonly ink = new MeshBasicMaterial({ side: BackSide });
  readonly #parts: InstancedMesh;
  readonly #outlines: InstancedMesh;
  readonly #line: number;
  readonly #matrix = new Matrix4();
  readonly #turn = new Quaternion();
  readonly #at = new Vector3();
  readonly #size = new Vector3();

  /** `line` is the outline's width in mm. */
  constructor(geometry: BufferGeometry, count: number, line: number) {
    this.#line = line;
    this.#parts = new InstancedMesh(geometry, this.fill, count);
    this.#outlines = new InstancedMesh(geometry, this.ink, count);
    // Instances move; their first bounds would hide them.
    this.#parts.frustumCulled = this.#outlines.frustumCulled = false;
    this.group.add(this.#outlines, this.#parts);
  }

  colour(fill: Color, ink: Color): void {
    this.fill.color.copy(fill);
    this.ink.color.copy(ink);
  }

  tint(i: number, colour: Color): void {
    this.#parts.setColorAt(i, colour);
    if (this.#parts.instanceColor) this.#parts.instanceColor.needsUpdate = true;
  }

  /** Lays part `i`, whose x runs from 0 to 1, from one point to another. */
  between(i: number, from: Vec3, to: Vec3, radius: number): void {
    this.#size.set(to[0] - from[0], to[1] - from[1], to[2] - from[2]);
    const length = this.#size.length();
    this.#turn.setFromUnitVectors(X, length > 0 ? this.#size.divideScalar(length) : X);
    this.#place(i, from, [length, radius, radius], [length, radius + this.#line, radius + this.#line]);
  }

  /** Puts part `i`, of size 1 about its middle, at a point. */
  at(i: number, at: Vec3, radius: number): void {
    this.#turn.identity();
    const outer = radius + this.#line;
    this.#place(i, at, [radius, radius, radius], [outer, outer, outer]);
  }

  done(): void {
    this.#parts.instanceMatrix.needsUpdate = true;
    this.#outlines.instanceMatrix.needsUpdate = true;
  }

  #place(i: number, at: Vec3, size: Vec3, outer: Vec3): void {
    this.#at.set(...at);
    this.#parts.setMatrixAt(i, this.#matrix.compose(this.#at, this.#turn, this.#size.set(...size)));
    this.#outlines.setMatrixAt(i, this.#matrix.compose(this.#at, this.#turn, this.#size.set(...outer)));
  }

  dispose(): void {
    this.#parts.dispose();
    this.#outlines.dispose();
    this.#parts.geometry.dispose();
    this.fill.dispose();
    this.ink.dispose();
  }
}
