/**
 * Edits on their way to the hub, and into this browser's journal until the hub has them. One draft is on its way at a
 * time: whatever is done meanwhile goes in the next, so a slow phone skips edits instead of falling behind.
 */

import type { Clock } from "../clock.ts";
import type { FromBrowser } from "../messages.gen.ts";
import { type SequenceFile, writeText } from "./document.ts";
import type { Journal } from "./journal.ts";

/** After so long without an answer a draft is taken for lost. */
export const LOST_MS = 5000;
/** Edits are written into the journal when nothing has been done for so long. */
export const JOURNAL_MS = 250;

/** The newest edit. */
export interface Newest {
  name: string;
  /** The saved version that the edits began from. */
  base: string;
  n: number;
  /** The last edit that the hub has on its disk. */
  kept: number;
  doc: SequenceFile;
  /** A hand is still at it. */
  held: boolean;
}

export class Delivery {
  /** There is an edit that the hub is to put on its disk. */
  owed = false;
  readonly #newest: () => Newest | null;
  readonly #send: (message: FromBrowser) => boolean;
  readonly #clock: Clock;
  readonly #journal: Journal;
  #inFlight: { n: number; off: () => void } | null = null;
  #sentN = -1;
  /** The next answer is to have all of the preview, not only what is new in it. */
  #whole = true;
  #journalOff = (): void => {};

  /** `newest` is null while there is nothing that could be sent. */
  constructor(options: { send: (message: FromBrowser) => boolean; clock: Clock; journal: Journal }, newest: () => Newest | null) {
    this.#send = options.send;
    this.#clock = options.clock;
    this.#journal = options.journal;
    this.#newest = newest;
  }

  /** Nothing is on its way any more, and nothing of what was is known. */
  forget(): void {
    this.#inFlight?.off();
    this.#inFlight = null;
    this.#whole = true;
    this.#sentN = -1;
  }

  whole(): void {
    this.#whole = true;
  }

  /** The newest edit is sent again, although it was. */
  again(): void {
    this.#sentN = -1;
  }

  /** There is a new edit. */
  edited(): void {
    this.#journalOff();
    this.#journalOff = this.#clock.after(JOURNAL_MS, () => this.note());
    this.go();
  }

  /** Notes in the journal what the hub does not have. */
  note(): void {
    this.#journalOff();
    const newest = this.#newest();
    if (!newest || newest.kept >= newest.n) return;
    const { name, base, n, doc } = newest;
    this.#journal.write(name, { base, n, text: writeText(doc) });
  }

  /** Sends the newest edit, if none is on its way. */
  go(): void {
    const newest = this.#newest();
    if (!newest || this.#inFlight) return;
    const { name, base, n, doc, held } = newest;
    const keep = this.owed && !held;
    if (this.#sentN >= n && !keep) return;
    if (!this.#send({ type: "draft", name, hand: this.#journal.hand, base, n, text: writeText(doc), keep, whole: this.#whole })) return;
    this.#whole = false;
    this.#sentN = n;
    if (keep) this.owed = false;
    const off = this.#clock.after(LOST_MS, () => {
      this.#inFlight = null;
      this.#whole = true;
      const now = this.#newest();
      this.owed ||= now !== null && now.kept < now.n;
      this.#sentN = -1;
      this.go();
    });
    this.#inFlight = { n, off };
  }

  /** The hub has judged an edit: whatever was on its way up to it has arrived. */
  answered(n: number): void {
    if (this.#inFlight && n >= this.#inFlight.n) this.landed();
  }

  /** What was on its way is there, or was refused. */
  landed(): void {
    this.#inFlight?.off();
    this.#inFlight = null;
    this.go();
  }
}
