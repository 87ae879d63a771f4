/** What the tests move by hand: a clock, and a socket with the hub at its other end. */

import { decode, encode } from "@msgpack/msgpack";
import type { Clock } from "../src/clock.ts";
import type { Socket } from "../src/link.ts";
import type { FromBrowser, FromHub, RobotInfo, State, Welcome } from "../src/messages.gen.ts";

export class HandClock implements Clock {
  #now = 0;
  #due: { at: number; callback: () => void }[] = [];

  now(): number {
    return this.#now;
  }

  after(ms: number, callback: () => void): () => void {
    const entry = { at: this.#now + ms, callback };
    this.#due.push(entry);
    return () => {
      this.#due = this.#due.filter((other) => other !== entry);
    };
  }

  /** Lets time pass; what falls due is called in order, at its own time. */
  pass(ms: number): void {
    const until = this.#now + ms;
    for (;;) {
      const next = this.#due.filter(({ at }) => at <= until).sort((a, b) => a.at - b.at)[0];
      if (!next) break;
      this.#due = this.#due.filter((entry) => entry !== next);
      this.#now = next.at;
      next.callback();
    }
    this.#now = until;
  }
}

export class HandSocket implements Socket {
  binaryType = "";
  bufferedAmount = 0;
  onopen: ((event: never) => void) | null = null;
  onmessage: ((event: MessageEvent) => void) | null = null;
  onclose: ((event: CloseEvent) => void) | null = null;
  readonly sent: FromBrowser[] = [];
  closed = false;

  send(bytes: Uint8Array<ArrayBuffer>): void {
    this.sent.push(decode(bytes) as FromBrowser);
  }

  close(): void {
    this.closed = true;
  }

  opens(): void {
    this.onopen?.(undefined as never);
  }

  says(message: FromHub): void {
    const bytes = encode(message);
    const data = bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength);
    this.onmessage?.({ data } as MessageEvent);
  }

  breaks(code: number): void {
    this.onclose?.({ code } as CloseEvent);
  }

  types(): string[] {
    return this.sent.map(({ type }) => type);
  }
}

export const ROBOT: RobotInfo = {
  name: "Test",
  joints: ["one.coxa", "one.femur", "one.tibia", "head"],
  legs: [
    {
      name: "one",
      hip_mm: [10, 20, 5],
      heading_deg: 90,
      coxa_mm: 40,
      femur_mm: 70,
      tibia_mm: 110,
      foot_radius_mm: 6,
    },
  ],
  extra: [{ name: "head", parent: -1, at_mm: [30, 0, 10], axis: [0, 0, 1], tip_mm: [20, 0, 0], radius_mm: 8 }],
  outputs: [{ name: "lamp", kind: "lamp" }],
  body_size_mm: [200, 100, 40],
  body_centre_mm: [0, 0, 0],
  rest_height_mm: 80,
  height_range_mm: [-20, 30],
  gaits: [{ name: "tripod", duty: 0.5, touchdown: [0, 0.5, 0, 0.5, 0, 0.5] }],
  lift_range_mm: [5, 42],
  leads: true,
  lean_range_deg: [20, 18, 25],
};

export const WELCOME: Welcome = { type: "welcome", role: "operator", you: "me", hub_version: "1", robot: ROBOT };

export function state(some: Partial<State> = {}): State {
  return {
    type: "state",
    tick: 1,
    mode: "rest",
    reason: "",
    joints_deg: [0, 0, 0, 0],
    body: [0, 0, 80, 0, 0, 0],
    down: [true],
    com_mm: [0, 0],
    margin_mm: 30,
    outputs: [0],
    limit: "",
    gait: "tripod",
    lift_mm: 28,
    cycle_ms: 1200,
    pace: 0.6,
    posture: [0, 0, 0, 0],
    leads: true,
    walking: false,
    feet: [1, 1],
    link: { up: true, round_trip_ms: 20, lost_share: 0, bytes_s: 100, budget_bytes_s: 5760, together: 1, thinned: false },
    battery: { volts: 7.6, level: "ok", minutes_left: 24, words: "Battery good, 7.6 V, about 25 min left" },
    driver: null,
    playing: null,
    recording_s: null,
    watchers: 1,
    ...some,
  };
}
