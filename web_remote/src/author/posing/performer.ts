/** A performance: what a hand moves and how it drives while it is recorded, until it is kept in the move or thrown away. */

import { signal } from "@preact/signals";
import type { Maker } from "../client.ts";
import { over, type Pose } from "../document.ts";
import type { Sheet } from "../sheet.ts";
import { clipOf, type Course, possible, type Sample, STANDS, walksOf, withPerformance } from "./performance.ts";

/** How often a performance is looked at: half as often as frames are sent. */
const SAMPLE_MS = 40;
const LONGEST_SHOW_MS = 120_000;
/** In mm and degrees, when it ends because it has been too long. */
const LONG_ERROR = 2;

/** What is shown of a performance. */
export interface Performs {
  phase: "running" | "done";
  length_ms: number;
  keys: number;
  walks: number;
}

/** A performance while it lasts and until it is kept. */
interface Show {
  gesture: string;
  began: number;
  at_ms: number;
  /** Where everything was at first. */
  rest: Pose;
  /** All that has been moved since. */
  pose: Pose;
  base: Sheet;
  samples: Sample[];
}

/** What a performance needs of whoever poses. */
interface Hand {
  gesture(): string;
  /** All that can be said of the pose at this moment. */
  whole(): Pose;
  settle(): void;
}

export class Performer {
  readonly #maker: Maker;
  readonly #hand: Hand;
  readonly shows = signal<Performs | null>(null);
  /** How it is driven at this moment of a performance. */
  readonly course = signal<Course>(STANDS);
  #show: Show | null = null;
  #showOff = (): void => {};

  constructor(maker: Maker, hand: Hand) {
    this.#maker = maker;
    this.#hand = hand;
  }

  /** Whether there is a performance that is neither kept nor thrown away. */
  get runs(): boolean {
    return this.#show !== null;
  }

  /** What is written in the move for a pose that is taken up, while something is performed. */
  takes(pose: Pose): { readonly at_ms: number; readonly gesture: string; readonly pose: Pose } | null {
    if (this.#show) this.#show.pose = over(this.#show.pose, pose);
    return this.#show;
  }

  /** From now on what a hand moves is recorded, as time goes by. */
  begin(): void {
    const { player, sheet } = this.#maker;
    if (!sheet.value || this.#show) return;
    player.pause();
    const at_ms = Math.round(player.at.peek());
    player.seek(at_ms);
    this.#show = { gesture: this.#hand.gesture(), began: performance.now(), at_ms, rest: this.#hand.whole(), pose: {}, base: sheet.value, samples: [] };
    this.course.value = STANDS;
    this.shows.value = { phase: "running", length_ms: 0, keys: 0, walks: 0 };
    const timer = setInterval(() => this.#tick(), SAMPLE_MS);
    this.#showOff = () => clearInterval(timer);
  }

  #tick(): void {
    const show = this.#show;
    if (!show) return;
    if (performance.now() - show.began > LONGEST_SHOW_MS) this.done(LONG_ERROR);
    else this.#sample(show);
  }

  #sample(show: Show): void {
    const ms = performance.now() - show.began;
    show.samples.push({ ms, pose: show.pose, course: possible(this.course.peek(), this.#maker.house.peek()?.maker.gaits[0]) });
    if (show.samples.length % 5 === 0) this.shows.value = { phase: "running", length_ms: ms, keys: 0, walks: 0 };
  }

  /** Enough: it becomes keys, which can still be trimmed. */
  done(error: number): void {
    const show = this.#show;
    if (!show) return;
    this.#showOff();
    this.#sample(show);
    const length_ms = show.samples.at(-1)?.ms ?? 0;
    this.shows.value = { phase: "done", length_ms, keys: 0, walks: 0 };
    this.trim(0, length_ms, error);
  }

  trim(from_ms: number, to_ms: number, error: number): void {
    const [show, house, was] = [this.#show, this.#maker.house.peek(), this.shows.peek()];
    if (!show || !house || !was) return;
    const clip = clipOf(show.samples, show.rest, from_ms, to_ms, error);
    const walks = walksOf(show.samples, from_ms, to_ms, error, house.maker.cycle_ms);
    this.shows.value = { ...was, keys: clip.length, walks: walks.length };
    if (clip.length + walks.length > 0) this.#maker.do({ do: "become", doc: withPerformance(show.base, clip, show.at_ms, house, walks), why: "performed" }, show.gesture);
  }

  /** Whoever goes away has not performed. */
  leave(): void {
    if (this.#show) this.drop();
  }

  keep(): void {
    this.#show = null;
    this.shows.value = null;
    this.#hand.settle();
  }

  drop(): void {
    const moved = this.#show && this.#maker.sheet.peek() !== this.#show.base;
    this.#showOff();
    this.keep();
    if (moved) this.#maker.undo();
  }
}
