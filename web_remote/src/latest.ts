/** Passes values on at most so often; the last one is always passed on. For sliders. */

import type { Clock } from "./clock.ts";

export class Latest<T> {
  #waiting: { value: T } | null = null;
  #resting = false;
  readonly #pass: (value: T) => void;
  readonly #clock: Clock;
  readonly #ms: number;

  constructor(pass: (value: T) => void, clock: Clock, ms = 80) {
    this.#pass = pass;
    this.#clock = clock;
    this.#ms = ms;
  }

  give(value: T): void {
    if (this.#resting) {
      this.#waiting = { value };
      return;
    }
    this.#pass(value);
    this.#resting = true;
    this.#clock.after(this.#ms, () => {
      this.#resting = false;
      const waiting = this.#waiting;
      this.#waiting = null;
      if (waiting) this.give(waiting.value);
    });
  }
}
