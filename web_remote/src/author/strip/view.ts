/** Which stretch of time the strip shows, and what times catch on. Times in ms, lengths in CSS pixels. */

import { computed, signal } from "@preact/signals";
import { beatMs, countsBeats, type SequenceFile } from "../document.ts";

/** Closer than this nothing would be told apart: a pixel and a half for a millisecond. */
const CLOSEST = 1.5;
/** A drag catches on what is so near. */
export const CATCH_PX = 7;
/** Time that can be seen after the end, so that something can be put there. */
const BEYOND = 0.12;
const LEAST_MS = 400;
/** One frame of the robot's fifty a second. */
export const FRAME_MS = 20;

export class View {
  /** The time at the left edge. */
  readonly from = signal(0);
  readonly scale = signal(0.1);
  readonly width = signal(300);
  /** Whether drags catch on the grid and on other keys. */
  readonly catching = signal(true);
  /** Parts of a beat, or of a second, that times catch on. */
  readonly parts = signal(4);
  /** The stretch that is chosen, for looping, stretching and making room. */
  readonly range = signal<readonly [number, number] | null>(null);
  readonly to = computed(() => this.from.value + this.width.value / this.scale.value);
  readonly #length: () => number;

  constructor(length: () => number) {
    this.#length = length;
  }

  x(ms: number): number {
    return (ms - this.from.value) * this.scale.value;
  }

  ms(x: number): number {
    return this.from.value + x / this.scale.value;
  }

  /** All of the move. */
  fit(): void {
    const all = Math.max(this.#length(), LEAST_MS) * (1 + BEYOND / 2);
    this.scale.value = this.width.value / all;
    this.from.value = 0;
  }

  /** So many times closer, with the time at `x` staying there. */
  zoom(times: number, x: number): void {
    const still = this.ms(x);
    const all = Math.max(this.#length(), LEAST_MS) * (1 + BEYOND);
    const least = this.width.value / all;
    this.scale.value = Math.min(CLOSEST, Math.max(least, this.scale.value * times));
    this.goTo(still - x / this.scale.value);
  }

  pan(px: number): void {
    this.goTo(this.from.value + px / this.scale.value);
  }

  goTo(from: number): void {
    const shown = this.width.value / this.scale.value;
    const most = Math.max(0, Math.max(this.#length(), LEAST_MS) * (1 + BEYOND) - shown);
    this.from.value = Math.min(Math.max(0, from), most);
  }

  /** Brings a time into sight. */
  reveal(ms: number): void {
    const shown = this.width.value / this.scale.value;
    if (ms < this.from.value || ms > this.from.value + shown) this.goTo(ms - shown * 0.15);
  }

  /** The step of the grid. */
  step(doc: SequenceFile): number {
    return (countsBeats(doc) ? beatMs(doc) : 1000) / this.parts.value;
  }

  /** Where a time catches: on the nearest of `others` or of the grid, if one is near enough. */
  caught(doc: SequenceFile, ms: number, others: readonly number[] = []): number {
    if (!this.catching.value) return Math.max(0, Math.round(ms));
    const reach = CATCH_PX / this.scale.value;
    let found = Math.max(0, Math.round(ms));
    let best = reach;
    const grid = this.step(doc);
    for (const each of [...others, Math.round(ms / grid) * grid]) {
      if (each >= 0 && Math.abs(each - ms) < best) {
        best = Math.abs(each - ms);
        found = each;
      }
    }
    return found;
  }
}

export interface Tick {
  ms: number;
  /** What is written beside it; empty for the small ones. */
  words: string;
}

const STEPS_S = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300];
const STEPS_BEATS = [0.25, 0.5, 1, 2, 4, 8, 16, 32, 64, 128];
const WORDS_PX = 62;

/** The marks of a ruler between two times, so far apart that their words do not touch. */
export function ticks(doc: SequenceFile, from: number, to: number, scale: number): Tick[] {
  const beats = countsBeats(doc);
  const unit = beats ? beatMs(doc) : 1000;
  const steps = beats ? STEPS_BEATS : STEPS_S;
  const long = steps.find((step) => step * unit * scale >= WORDS_PX) ?? (steps.at(-1) as number);
  const small = beats ? Math.min(1, long) : (steps[Math.max(0, steps.indexOf(long) - 2)] as number);
  const short = small * unit * scale >= 7 ? small : long;
  const found: Tick[] = [];
  const every = Math.round(long / short);
  for (let i = Math.floor(from / (short * unit)); i * short * unit <= to; i++) {
    const value = i * short;
    if (i >= 0) found.push({ ms: value * unit, words: i % every === 0 ? timeWords(value, beats) : "" });
  }
  return found;
}

function timeWords(value: number, beats: boolean): string {
  const plain = String(Number(value.toFixed(2)));
  if (beats) return plain;
  if (value < 60) return `${plain} s`;
  const seconds = Number((value % 60).toFixed(2));
  return `${Math.floor(value / 60)}:${String(seconds).padStart(2, "0")}`;
}

/** A time in words, for readouts and labels: `1.25 s`, or `beat 3.5`. */
export function saidTime(doc: SequenceFile, ms: number): string {
  if (countsBeats(doc)) return `beat ${Number((ms / beatMs(doc)).toFixed(2))}`;
  if (ms < 60_000) return `${(ms / 1000).toFixed(2)} s`;
  return `${Math.floor(ms / 60_000)} min ${((ms % 60_000) / 1000).toFixed(2)} s`;
}
