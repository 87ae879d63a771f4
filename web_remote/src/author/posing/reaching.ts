/** The body as far as legs let it go: what legs cannot reach resists, as a foot does in reach.ts. */

import type { Vec3 } from "../../kinematics.ts";
import { type Body, legReaches } from "../reach.ts";
import type { House } from "../sheet.ts";

/** Whether all of these legs keep their feet where they are, for the body at `body`. */
export function bodyReaches(house: House, body: Body, legs: readonly number[], feet: readonly Vec3[]): boolean {
  return legs.every((leg) => legReaches(house, body, leg, feet[leg] ?? [0, 0, 0]));
}

/**
 * The body on its way from `was` to `wanted` as far as `legs` keep their feet in place: first all at once, then each
 * axis by itself, so that it slides along its limit. Where they do not even keep them at `was`, it goes anywhere.
 */
export function bodyResisting(house: House, legs: readonly number[], feet: readonly Vec3[], was: Body, wanted: Body): Body {
  const fits = (body: Body): boolean => bodyReaches(house, body, legs, feet);
  if (fits(wanted) || !fits(was)) return wanted;
  let at = furthest(was, wanted, fits);
  for (let axis = 0; axis < 6; axis++) {
    if (at[axis] === wanted[axis]) continue;
    at = furthest(at, at.map((value, k) => (k === axis ? (wanted[k] as number) : value)) as unknown as Body, fits);
  }
  return at;
}

function furthest(from: Body, to: Body, fits: (body: Body) => boolean): Body {
  if (fits(to)) return to;
  let [low, high] = [0, 1];
  const along = (s: number): Body => from.map((value, k) => value + s * ((to[k] as number) - value)) as unknown as Body;
  for (let i = 0; i < 12; i++) {
    const middle = (low + high) / 2;
    if (fits(along(middle))) low = middle;
    else high = middle;
  }
  return along(low);
}
