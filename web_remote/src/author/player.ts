/** The hand on the time of a preview: where it is, and how it goes on. Times in ms. */

import { signal } from "@preact/signals";
import type { Clock } from "../clock.ts";

/** Calls back before the next picture is drawn; returns how to call it off. */
export type NextPicture = (callback: () => void) => () => void;

export class Player {
  readonly at = signal(0);
  readonly playing = signal(false);
  /** 1 is as fast as it will be. */
  readonly speed = signal(1);
  /** The stretch that is played over and over; null for all of it, once. */
  readonly loop = signal<readonly [number, number] | null>(null);
  readonly #clock: Clock;
  readonly #next: NextPicture;
  readonly #length: () => number;
  #before = 0;
  #off = (): void => {};

  constructor(clock: Clock, next: NextPicture, length: () => number) {
    this.#clock = clock;
    this.#next = next;
    this.#length = length;
  }

  play(): void {
    if (this.playing.value) return;
    const [start, stop] = this.#range();
    if (this.at.value >= stop - 1 || this.at.value < start) this.at.value = start;
    this.playing.value = true;
    this.#before = this.#clock.now();
    this.#off = this.#next(() => this.#go());
  }

  pause(): void {
    this.#off();
    this.playing.value = false;
  }

  toggle(): void {
    if (this.playing.value) this.pause();
    else this.play();
  }

  seek(ms: number): void {
    this.at.value = Math.min(Math.max(ms, 0), this.#length());
  }

  /** Stands still, so many frames on or back. */
  step(frames: number, rate_hz: number): void {
    this.pause();
    const frame = Math.round((this.at.value / 1000) * rate_hz) + frames;
    this.seek((frame / rate_hz) * 1000);
  }

  #range(): readonly [number, number] {
    return this.loop.value ?? [0, this.#length()];
  }

  #go(): void {
    const now = this.#clock.now();
    const [start, stop] = this.#range();
    let at = this.at.value + (now - this.#before) * this.speed.value;
    this.#before = now;
    if (at >= stop) {
      if (!this.loop.value || stop - start < 1) {
        this.at.value = stop;
        this.playing.value = false;
        return;
      }
      at = start + ((at - start) % (stop - start));
    }
    this.at.value = at;
    this.#off = this.#next(() => this.#go());
  }
}
