/** Which feet were down, tick by tick, as the hub's states tell it: what was not told stays unknown. */

import type { RobotInfo, State } from "./messages.gen.ts";

/** The hub sends 50 frames a second. */
export const TICK_MS = 20;
/** The longest that is remembered: two cycles of a slow creep on eight legs take less. */
const KEPT = 1200;
const UNKNOWN = -1;

/** A stretch of ticks in which a foot stays down, or up, or in which nobody knows (null). */
export interface Run {
  /** Ticks before the newest one at which it begins and ends; `to` is 0 for what is going on now. */
  from: number;
  to: number;
  down: boolean | null;
}

export class Footfall {
  readonly #masks = new Int16Array(KEPT).fill(UNKNOWN);
  #last = Number.NEGATIVE_INFINITY;

  /** Takes in what a state tells. A tick before the last one is another hub's, or a show that began anew. */
  hear({ tick, feet }: Pick<State, "tick" | "feet">): void {
    if (tick < this.#last || tick - this.#last > KEPT) {
      this.#masks.fill(UNKNOWN);
      this.#last = tick;
    }
    while (this.#last < tick) this.#masks[++this.#last % KEPT] = UNKNOWN;
    feet.forEach((mask, i) => {
      const at = tick - feet.length + 1 + i;
      if (at >= 0) this.#masks[at % KEPT] = mask;
    });
  }

  /** Which feet are down now, as bits; -1 when that is not known. */
  get now(): number {
    return this.#at(0);
  }

  /** A leg's stretches over the last so many ticks, oldest first. */
  runs(leg: number, ticks: number): Run[] {
    const found: Run[] = [];
    for (let ago = Math.min(ticks, KEPT) - 1; ago >= 0; ago--) {
      const mask = this.#at(ago);
      const down = mask === UNKNOWN ? null : (mask & (1 << leg)) !== 0;
      const run = found.at(-1);
      if (run && run.down === down) run.to = ago;
      else found.push({ from: ago + 1, to: ago, down });
    }
    return found;
  }

  /** The fewest feet that were down at once in the last so many ticks; null where nothing of it is known. */
  fewest(ticks: number): number | null {
    let least: number | null = null;
    for (let ago = Math.min(ticks, KEPT) - 1; ago >= 0; ago--) {
      const mask = this.#at(ago);
      if (mask === UNKNOWN) continue;
      const count = bits(mask);
      if (least === null || count < least) least = count;
    }
    return least;
  }

  #at(ago: number): number {
    const tick = this.#last - ago;
    return tick >= 0 ? (this.#masks[tick % KEPT] ?? UNKNOWN) : UNKNOWN;
  }
}

export function bits(mask: number): number {
  let count = 0;
  for (let rest = mask; rest > 0; rest >>= 1) count += rest & 1;
  return count;
}

/** Ticks in two cycles. */
export function twoCycles({ cycle_ms }: Pick<State, "cycle_ms">): number {
  return Math.max(10, Math.min(KEPT, Math.round((2 * cycle_ms) / TICK_MS)));
}

/**
 * The legs as tracks behind a robot that goes to the right: on each side the front leg's track is the outermost.
 * `left` from the top down to the spine, `right` from there on down.
 */
export function tracks({ legs }: Pick<RobotInfo, "legs">): { left: number[]; right: number[] } {
  const order = legs.map((_, i) => i).sort((a, b) => (legs[b]?.hip_mm[0] ?? 0) - (legs[a]?.hip_mm[0] ?? 0));
  const isLeft = (i: number): boolean => (legs[i]?.hip_mm[1] ?? 0) >= 0;
  return { left: order.filter(isLeft), right: order.filter((i) => !isLeft(i)).reverse() };
}
