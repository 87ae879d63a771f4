/** What may be laid over the 3D view by parts that come later: where points are in the picture, and how far a drag goes. */

import type { Vec3 } from "../kinematics.ts";
import type { State } from "../messages.gen.ts";

/** A place in the picture, CSS px from its upper left. */
export interface Spot {
  x: number;
  y: number;
}

/** How a drag in the picture goes over the ground, at one point: directions are of the ground frame. */
export interface Sight {
  mm_per_px: number;
  /** To the right in the picture. */
  right: readonly [number, number];
  /** Away from the eye. */
  away: readonly [number, number];
  /** How far the eye looks down, rad. */
  above: number;
}

export interface View {
  /** Puts where a point of the ground frame (mm) is in the picture into `spot`. */
  project(point: Vec3, spot: Spot): void;
  sight(point: Vec3): Sight;
  /** What is drawn. */
  shown(): State | null;
  /** Called after each picture; null when nothing is laid over it. */
  drawn: (() => void) | null;
  /** Draws again, soon. */
  ask(): void;
}
