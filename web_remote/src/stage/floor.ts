/** The floor: a pool of light with a grid of dots, the support polygon, the feet's marks and the centre of mass. */

import {
  BufferAttribute,
  BufferGeometry,
  CanvasTexture,
  CircleGeometry,
  DoubleSide,
  DynamicDrawUsage,
  Group,
  InstancedMesh,
  Matrix4,
  Mesh,
  MeshBasicMaterial,
  PlaneGeometry,
  RingGeometry,
} from "three";
import type { Vec2, Vec3 } from "../kinematics.ts";
import { hull } from "../kinematics.ts";
import { fading } from "./fading.ts";
import type { Palette } from "./palette.ts";

const GRID_MM = 50;
const GRID_STEPS = 13;

/** A flat material that neither hides nor is hidden wrongly by the others on the same floor. */
function flat(opacity: number, map: CanvasTexture | null = null): MeshBasicMaterial {
  return new MeshBasicMaterial({ transparent: true, opacity, depthWrite: false, side: DoubleSide, map });
}

export class Floor {
  readonly group = new Group();
  readonly #fade = fading();
  readonly #pool = flat(0.9, this.#fade);
  readonly #shade = flat(0.35, this.#fade);
  readonly #dot = flat(0.32);
  readonly #within = flat(0.26);
  readonly #edge = flat(1);
  readonly #foot = flat(1);
  /** Seen through the robot: it matters most just where the trunk is over it. */
  readonly #mass = new MeshBasicMaterial({ depthTest: false, transparent: true, side: DoubleSide });
  readonly #poolMesh: Mesh;
  readonly #shadeMesh: Mesh;
  readonly #dots: InstancedMesh;
  readonly #support: Mesh;
  readonly #border: Mesh;
  readonly #discs: InstancedMesh;
  readonly #rings: InstancedMesh;
  readonly #massMark = new Group();
  readonly #plumb: Mesh;
  readonly #matrix = new Matrix4();
  readonly #span: number;
  #lit: Vec2 = [Infinity, Infinity];

  constructor(legs: number, span: number, size: readonly [number, number, number]) {
    this.#span = span;
    this.#poolMesh = this.#lay(new PlaneGeometry(1, 1), this.#pool, 0);
    this.#poolMesh.scale.setScalar(span * 4.4);
    this.#shadeMesh = this.#lay(new PlaneGeometry(1, 1), this.#shade, 2);
    this.#shadeMesh.scale.set(size[0] * 1.7, size[1] * 2.1, 1);

    const dots = (2 * GRID_STEPS + 1) ** 2;
    this.#dots = new InstancedMesh(new CircleGeometry(span / 110, 8), this.#dot, dots);
    this.#support = this.#lay(polygon(legs + 2, 3), this.#within, 3);
    this.#border = this.#lay(polygon(legs, 6), this.#edge, 4);
    this.#discs = new InstancedMesh(new CircleGeometry(span / 22, 24), this.#foot, legs);
    this.#rings = new InstancedMesh(new RingGeometry(span / 26, span / 20, 24), this.#foot, legs);
    for (const [i, marks] of [this.#dots, this.#discs, this.#rings].entries()) {
      marks.renderOrder = [1, 5, 5][i] ?? 0;
      marks.frustumCulled = false;
      this.group.add(marks);
    }

    const arm = span / 9;
    const thick = span / 90;
    const cross = [new PlaneGeometry(arm * 2, thick), new PlaneGeometry(thick, arm * 2)];
    const ring = new RingGeometry(arm * 0.52, arm * 0.52 + thick, 32);
    for (const geometry of [...cross, ring]) {
      const part = new Mesh(geometry, this.#mass);
      part.renderOrder = 20;
      this.#massMark.add(part);
    }
    this.group.add(this.#massMark);
    this.#plumb = new Mesh(new PlaneGeometry(thick, 1), this.#mass);
    this.#plumb.geometry.rotateX(Math.PI / 2);
    this.#plumb.geometry.translate(0, 0, 0.5);
    this.#plumb.renderOrder = 20;
    this.group.add(this.#plumb);
  }

  colour(palette: Palette): void {
    this.#pool.color.copy(palette.light);
    this.#shade.color.copy(palette.ink);
    this.#dot.color.copy(palette.mark);
    this.#within.color.copy(palette.support);
    this.#edge.color.copy(palette.support);
    this.#foot.color.copy(palette.mark);
    this.#mass.color.copy(palette.mark);
  }

  /** `feet` are foot centres, (x, y, z) in the ground frame; `eye` turns the plumb line to the onlooker. */
  show(body: Vec3, yaw: number, feet: readonly Vec3[], down: readonly boolean[], com: Vec2): void {
    const [x, y, z] = body;
    this.#poolMesh.position.set(x, y, -0.4);
    this.#shadeMesh.position.set(x, y, 0.1);
    this.#shadeMesh.rotation.z = yaw;
    this.#massMark.position.set(com[0], com[1], 0.5);
    this.#plumb.position.set(com[0], com[1], 0);
    this.#plumb.scale.z = Math.max(1, z);

    this.#lightDots(x, y);
    feet.forEach(([fx, fy], leg) => {
      const stands = down[leg] ?? false;
      this.#discs.setMatrixAt(leg, this.#spot(fx, fy, 0.3, stands ? 1 : 0));
      this.#rings.setMatrixAt(leg, this.#spot(fx, fy, 0.3, stands ? 0 : 1));
    });
    this.#discs.instanceMatrix.needsUpdate = true;
    this.#rings.instanceMatrix.needsUpdate = true;
    this.#surround(hull(feet.filter((_, leg) => down[leg]).map(([fx, fy]): Vec2 => [fx, fy])));
  }

  /** Dots where the light is. They are many, and so are laid anew only when the light has gone on enough to be seen. */
  #lightDots(x: number, y: number): void {
    if (Math.hypot(x - this.#lit[0], y - this.#lit[1]) < this.#span / 200) return;
    this.#lit = [x, y];
    const [cx, cy] = [Math.round(x / GRID_MM) * GRID_MM, Math.round(y / GRID_MM) * GRID_MM];
    const reach = GRID_STEPS * GRID_MM;
    let i = 0;
    for (let dx = -reach; dx <= reach; dx += GRID_MM) {
      for (let dy = -reach; dy <= reach; dy += GRID_MM) {
        // Smaller towards the edge of the light, and gone beyond it.
        const size = Math.max(0, 1 - Math.hypot(cx + dx - x, cy + dy - y) / Math.min(reach, this.#span * 2));
        this.#dots.setMatrixAt(i++, this.#spot(cx + dx, cy + dy, 0, size));
      }
    }
    this.#dots.instanceMatrix.needsUpdate = true;
  }

  face(around: number): void {
    this.#plumb.rotation.z = around + Math.PI / 2;
  }

  #spot(x: number, y: number, z: number, size: number): Matrix4 {
    return this.#matrix.makeScale(size, size, 1).setPosition(x, y, z);
  }

  #lay(geometry: BufferGeometry, material: MeshBasicMaterial, order: number): Mesh {
    const mesh = new Mesh(geometry, material);
    mesh.renderOrder = order;
    mesh.frustumCulled = false;
    this.group.add(mesh);
    return mesh;
  }

  /** Fills the polygon as a fan, and draws its edges as strips: lines in WebGL are a pixel wide everywhere. */
  #surround(corners: readonly Vec2[]): void {
    const fill = points(this.#support);
    const edge = points(this.#border);
    const half = this.#span / 150;
    let f = 0;
    let e = 0;
    const [first] = corners;
    corners.forEach((a, i) => {
      const b = corners[(i + 1) % corners.length];
      if (!first || !b || corners.length < 2) return;
      for (const [px, py] of [first, a, b]) fill.setXYZ(f++, px, py, 0.2);
      const length = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
      const [nx, ny] = [(-(b[1] - a[1]) / length) * half, ((b[0] - a[0]) / length) * half];
      const strip: Vec2[] = [
        [a[0] + nx, a[1] + ny],
        [a[0] - nx, a[1] - ny],
        [b[0] + nx, b[1] + ny],
        [b[0] + nx, b[1] + ny],
        [a[0] - nx, a[1] - ny],
        [b[0] - nx, b[1] - ny],
      ];
      for (const [px, py] of strip) edge.setXYZ(e++, px, py, 0.25);
    });
    fill.needsUpdate = edge.needsUpdate = true;
    this.#support.geometry.setDrawRange(0, f);
    this.#border.geometry.setDrawRange(0, e);
  }

  dispose(): void {
    this.group.traverse((part) => {
      if (part instanceof InstancedMesh) part.dispose();
      if (part instanceof Mesh) {
        part.geometry.dispose();
        (part.material as MeshBasicMaterial).dispose();
      }
    });
    this.#fade.dispose();
  }
}

function polygon(faces: number, each: number): BufferGeometry {
  const geometry = new BufferGeometry();
  const place = new BufferAttribute(new Float32Array(faces * each * 3), 3);
  place.setUsage(DynamicDrawUsage);
  geometry.setAttribute("position", place);
  return geometry;
}

function points(mesh: Mesh): BufferAttribute {
  return mesh.geometry.getAttribute("position") as BufferAttribute;
}
