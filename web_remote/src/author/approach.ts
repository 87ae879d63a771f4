/** How a key is approached: the names that motionhub/motion/easing.py takes, and their curves for drawing. */

import { USUAL } from "./document.ts";

/** In the order in which they are offered. */
export const APPROACHES = [
  "minimum-jerk",
  "linear",
  "ease-in-out",
  "ease-in",
  "ease-out",
  "ease",
  "hold",
  "step-start",
  "step-end",
] as const;

type Curve = (share: number) => number;

const KEYWORDS: Record<string, Curve> = {
  "minimum-jerk": (t) => t ** 3 * (10 + t * (6 * t - 15)),
  linear: (t) => t,
  ease: bezier(0.25, 0.1, 0.25, 1),
  "ease-in": bezier(0.42, 0, 1, 1),
  "ease-out": bezier(0, 0, 0.58, 1),
  "ease-in-out": bezier(0.42, 0, 0.58, 1),
  hold: steps(1, "end"),
  "step-start": steps(1, "start"),
  "step-end": steps(1, "end"),
};

const NUMBER = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/;
const MOST_STEPS = 10_000;

/** The progress from 0 to 1 over the share of time from 0 to 1, or null if there is no such approach. */
export function curveOf(approach: string = USUAL): Curve | null {
  const plain = approach.trim().toLowerCase();
  const known = KEYWORDS[plain];
  if (known) return known;
  const [, kind, inside] = /^(cubic-bezier|steps)\(([^()]*)\)$/.exec(plain) ?? [];
  if (!kind || inside === undefined) return null;
  const parts = inside.split(",").map((part) => part.trim());
  if (kind === "cubic-bezier") {
    if (parts.length !== 4 || !parts.every((part) => NUMBER.test(part))) return null;
    const [x1, y1, x2, y2] = parts.map(Number) as [number, number, number, number];
    const good = x1 >= 0 && x1 <= 1 && x2 >= 0 && x2 <= 1 && Math.abs(y1) <= 10 && Math.abs(y2) <= 10;
    return good ? bezier(x1, y1, x2, y2) : null;
  }
  const [count, where = "end"] = parts;
  if (parts.length > 2 || !/^\+?\d{1,9}$/.test(count ?? "")) return null;
  const jump = where.replace(/^jump-/, "");
  if (!["start", "end", "jump-start", "jump-end", "jump-none", "jump-both"].includes(where)) return null;
  const n = Number(count);
  return n >= (jump === "none" ? 2 : 1) && n <= MOST_STEPS ? steps(n, jump) : null;
}

/** CSS Easing 1, §2.2: y over x, with x solved by halving; 30 halvings are far finer than a pixel. */
function bezier(x1: number, y1: number, x2: number, y2: number): Curve {
  const along = (a: number, b: number, t: number): number => t * (3 * (1 - t) * ((1 - t) * a + t * b) + t * t);
  return (share) => {
    if (share <= 0 || share >= 1) return share <= 0 ? 0 : 1;
    let [low, high] = [0, 1];
    for (let i = 0; i < 30; i++) {
      const middle = (low + high) / 2;
      if (along(x1, x2, middle) < share) low = middle;
      else high = middle;
    }
    return along(y1, y2, (low + high) / 2);
  };
}

/** CSS Easing 1, §2.3. */
function steps(count: number, jump: string): Curve {
  const jumps = count + (jump === "both" ? 1 : jump === "none" ? -1 : 0);
  const first = jump === "start" || jump === "both" ? 1 : 0;
  return (share) => Math.min(Math.floor(share * count + 1e-9) + first, jumps) / jumps;
}
