/** A deliberate act: held for a while, or, where nothing can be held, given twice. */

import type { Clock } from "./clock.ts";

export const HOLD_MS = 800;
/** The second press has to come within this time. */
export const TWICE_MS = 4000;

export type HoldPhase = "idle" | "holding" | "again";

export class Hold {
  #phase: HoldPhase = "idle";
  #off: (() => void) | null = null;
  readonly #clock: Clock;
  readonly #done: () => void;
  readonly #changed: (phase: HoldPhase) => void;

  constructor(clock: Clock, done: () => void, changed: (phase: HoldPhase) => void) {
    this.#clock = clock;
    this.#done = done;
    this.#changed = changed;
  }

  get phase(): HoldPhase {
    return this.#phase;
  }

  /** A finger or a key goes down; going down again while down changes nothing (keys repeat). */
  press(): void {
    if (this.#phase === "holding") return;
    this.#become("holding");
    this.#after(HOLD_MS, () => {
      this.#become("idle");
      this.#done();
    });
  }

  /** It goes up, or away, before the time. */
  release(): void {
    if (this.#phase === "holding") this.#become("idle");
  }

  /** A press without length, as assistive technology gives it: the second one within the time counts. */
  tap(): void {
    if (this.#phase === "again") {
      this.#become("idle");
      this.#done();
      return;
    }
    this.#become("again");
    this.#after(TWICE_MS, () => this.#become("idle"));
  }

  #after(ms: number, callback: () => void): void {
    this.#off = this.#clock.after(ms, callback);
  }

  #become(phase: HoldPhase): void {
    this.#off?.();
    this.#off = null;
    this.#phase = phase;
    this.#changed(phase);
  }
}
