/** What keeps the robot from doing all that is asked, without flicker: it comes and goes within a step. */

import type { State } from "./messages.gen.ts";

export type Limit = State["limit"];

/** A limit is shown once it has held for so long, */
export const HELD_MS = 240;
/** gives way to another one that has held for so long, */
export const OTHER_MS = 700;
/** and goes when there has been none for so long. */
export const GONE_MS = 900;

export class SteadyLimit {
  #shown: Limit = "";
  /** What is said now, and since when without a break. */
  #said: Limit = "";
  #since = Number.NEGATIVE_INFINITY;
  #lastAny = Number.NEGATIVE_INFINITY;

  /** Hears what a state says at a time in ms; returns what to show. */
  hear(limit: Limit, now: number): Limit {
    if (limit !== this.#said) {
      this.#said = limit;
      this.#since = now;
    }
    if (limit !== "") this.#lastAny = now;
    const held = now - this.#since;
    if (this.#shown === "") {
      if (limit !== "" && held >= HELD_MS) this.#shown = limit;
    } else if (limit === "") {
      if (now - this.#lastAny >= GONE_MS) this.#shown = "";
    } else if (limit !== this.#shown && held >= OTHER_MS) {
      this.#shown = limit;
    }
    return this.#shown;
  }
}
