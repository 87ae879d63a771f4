/** From touches and keys to Drive messages. */

import type { Clock } from "./clock.ts";
import type { Drive } from "./messages.gen.ts";

/** Shares of what the robot can do, each -1 to 1: forward, to the left, and turning to the left. */
export type Twist = Omit<Drive, "type">;

export const STILL: Twist = { forward: 0, left: 0, turn: 0 };

/** Within this share of the pad's radius a thumb at rest does not walk. */
const DEAD = 0.14;
/** At this share the full speed is reached, so that the rim need not be hit. */
const FULL = 0.88;

/** From a distance as a share of the reach to a share of the speed. */
function ramp(distance: number): number {
  return Math.min(1, Math.max(0, (distance - DEAD) / (FULL - DEAD)));
}

/**
 * A touch on the walking pad, drawn with the robot's nose up: `dx` to the right and `dy` down from its
 * middle, in the pad's `radius`.
 */
export function walkTowards(dx: number, dy: number, radius: number): Pick<Twist, "forward" | "left"> {
  const distance = Math.hypot(dx, dy);
  const share = ramp(distance / radius);
  if (share === 0) return { forward: 0, left: 0 };
  return { forward: tidy((-dy / distance) * share), left: tidy((-dx / distance) * share) };
}

/** A touch on the turning strip: `dx` to the right of its middle, of `half` its width. */
export function turnTowards(dx: number, half: number): number {
  return tidy(-Math.sign(dx) * ramp(Math.abs(dx) / half));
}

/** Thousandths are finer than a thumb; and no minus zero. */
function tidy(share: number): number {
  return Math.round(share * 1000) / 1000 + 0;
}

/** Physical keys, by their place on the keyboard, so that every layout drives alike. */
const KEYS: Readonly<Record<string, Twist>> = {
  ArrowUp: { forward: 1, left: 0, turn: 0 },
  KeyW: { forward: 1, left: 0, turn: 0 },
  ArrowDown: { forward: -1, left: 0, turn: 0 },
  KeyS: { forward: -1, left: 0, turn: 0 },
  ArrowLeft: { forward: 0, left: 1, turn: 0 },
  KeyA: { forward: 0, left: 1, turn: 0 },
  ArrowRight: { forward: 0, left: -1, turn: 0 },
  KeyD: { forward: 0, left: -1, turn: 0 },
  KeyQ: { forward: 0, left: 0, turn: 1 },
  KeyE: { forward: 0, left: 0, turn: -1 },
};

export function drives(code: string): boolean {
  return code in KEYS;
}

/** What the keys held down ask for together. */
export function keysTwist(codes: Iterable<string>): Twist {
  return together([...codes].map((code) => KEYS[code] ?? STILL));
}

/** The sum, with walking kept within the unit circle and turning within its share. */
export function together(twists: readonly Twist[]): Twist {
  let forward = 0;
  let left = 0;
  let turn = 0;
  for (const twist of twists) {
    forward += twist.forward;
    left += twist.left;
    turn += twist.turn;
  }
  const length = Math.max(1, Math.hypot(forward, left));
  return { forward: tidy(forward / length), left: tidy(left / length), turn: tidy(Math.max(-1, Math.min(1, turn))) };
}

function same(a: Twist, b: Twist): boolean {
  return a.forward === b.forward && a.left === b.left && a.turn === b.turn;
}

/** While held it is said again this often: the hub takes silence for a lost phone. */
export const REPEAT_MS = 100;
/** Changes are passed on at most this often. */
export const CHANGE_MS = 40;

/**
 * Says what is held: at once on the first touch, on changes, and again and again while it is held; and
 * once that all is still when everything is let go. Several hands (pad, strip, keys) count together.
 */
export class DriveSender {
  readonly #send: (drive: Drive) => void;
  readonly #clock: Clock;
  #hands = new Map<string, Twist>();
  #said: Twist = STILL;
  #saidAt = Number.NEGATIVE_INFINITY;
  #off: (() => void) | null = null;

  constructor(send: (drive: Drive) => void, clock: Clock) {
    this.#send = send;
    this.#clock = clock;
  }

  get held(): boolean {
    return this.#hands.size > 0;
  }

  /** A hand holds this now. */
  hold(hand: string, twist: Twist): void {
    const was = this.#hands.get(hand);
    if (was && same(was, twist)) return;
    this.#hands.set(hand, twist);
    this.#wait(Math.max(0, this.#saidAt + CHANGE_MS - this.#clock.now()));
  }

  /** A hand lets go; with the last one the robot is told to stand. */
  letGo(hand: string): void {
    if (!this.#hands.delete(hand)) return;
    if (this.held) this.#wait(Math.max(0, this.#saidAt + CHANGE_MS - this.#clock.now()));
    else this.#stand();
  }

  /** All hands off: the page is hidden, control is gone, the hub is away. */
  letGoAll(): void {
    if (!this.held) return;
    this.#hands.clear();
    this.#stand();
  }

  #stand(): void {
    this.#off?.();
    this.#off = null;
    this.#say(STILL);
  }

  #wait(ms: number): void {
    this.#off?.();
    this.#off = null;
    if (ms > 0) {
      this.#off = this.#clock.after(ms, () => this.#now());
    } else {
      this.#now();
    }
  }

  #now(): void {
    this.#off = null;
    this.#say(together([...this.#hands.values()]));
    // The next one is due whether or not anything moves by then.
    this.#off = this.#clock.after(REPEAT_MS, () => this.#now());
  }

  #say(twist: Twist): void {
    this.#said = twist;
    this.#saidAt = this.#clock.now();
    this.#send({ type: "drive", ...twist });
  }

  /** The last that was said. */
  get said(): Twist {
    return this.#said;
  }
}
