/** What comes into a move from elsewhere, and what goes out of it: recordings, tables, documents, sounds, frames. */

import { signal } from "@preact/signals";
import type { FromBrowser, FromHub, Refused } from "../messages.gen.ts";

/** A sequence that the hub has made of something, and what is to be said of it. */
export interface Brought {
  text: string;
  words: string;
}

type Bringing = Extract<FromBrowser, { type: "transcribe" | "read_table" | "read_document" }>;

export class Exchange {
  /** By name, those that the hub has. */
  readonly sounds = signal<readonly string[]>([]);
  readonly soundPath = signal("");
  /** Why what was brought from elsewhere does not fit; empty when it does. */
  readonly refusal = signal("");
  readonly exported = signal<{ name: string; data: Uint8Array } | null>(null);
  readonly #send: (message: FromBrowser) => boolean;
  readonly #own: () => { name: string; text: string } | null;
  #resolve: ((made: Brought | null) => void) | null = null;

  /** `own` is the move on the screen. */
  constructor(send: (message: FromBrowser) => boolean, own: () => { name: string; text: string } | null) {
    this.#send = send;
    this.#own = own;
  }

  /** Makes a sequence of a recording, a table or a document from elsewhere; null when it was refused, which has been told then. */
  make(message: Bringing): Promise<Brought | null> {
    this.#done(null);
    this.refusal.value = "";
    return new Promise((resolve) => {
      this.#resolve = resolve;
      if (!this.#send(message)) this.#done(null);
    });
  }

  #done(made: Brought | null): void {
    this.#resolve?.(made);
    this.#resolve = null;
  }

  /** Keeps a sound on the hub, in parts of so many bytes. */
  keepSound(name: string, data: Uint8Array, part: number): void {
    const parts = Math.max(1, Math.ceil(data.length / part));
    for (let i = 0; i < parts; i++) {
      this.#send({ type: "keep_sound", name, part: i, parts, data: data.slice(i * part, (i + 1) * part) });
    }
  }

  exportFrames(rate_hz: number): void {
    const own = this.#own();
    if (own) this.#send({ type: "export_frames", ...own, rate_hz });
  }

  /** Whether a message was one of these. */
  receive(message: FromHub): boolean {
    switch (message.type) {
      case "made":
        this.#done(message);
        return true;
      case "exported":
        this.exported.value = message;
        return true;
      case "sound_kept":
        if (!this.sounds.value.includes(message.name)) this.sounds.value = [...this.sounds.value, message.name];
        return true;
      default:
        return false;
    }
  }

  refused({ to, text }: Refused): void {
    if (to !== "transcribe" && to !== "read_table" && to !== "read_document") return;
    this.refusal.value = text;
    this.#done(null);
  }

  /** The hub is out of reach: what was asked is not answered any more. */
  gone(): void {
    this.#done(null);
  }
}
