/** A setting that the hub keeps: shown as the hub tells it, but for a moment after a hand was on it as the hand had it. */

import { computed, type ReadonlySignal, signal } from "@preact/signals";
import type { Clock } from "./clock.ts";

/** What comes back from the hub is so much behind a hand on a slider, at most: until then it does not pull. */
export const BEHIND_MS = 600;

export class Asked<T> {
  readonly value: ReadonlySignal<T>;
  readonly #asked = signal<{ value: T } | null>(null);
  readonly #clock: Clock;
  #off: (() => void) | null = null;

  constructor(clock: Clock, told: () => T) {
    this.#clock = clock;
    this.value = computed(() => this.#asked.value?.value ?? told());
  }

  set(value: T): void {
    this.#asked.value = { value };
    this.#off?.();
    this.#off = this.#clock.after(BEHIND_MS, () => this.forget());
  }

  /** From now on as the hub says. */
  forget(): void {
    this.#off?.();
    this.#off = null;
    this.#asked.value = null;
  }
}
