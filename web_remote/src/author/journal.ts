/**
 * Edits that the hub does not have yet, kept in this browser: a connection may be gone for long, and a page may be
 * closed meanwhile. A move has one entry; it goes when the hub says that it has it on its disk.
 */

type Store = Pick<Storage, "getItem" | "setItem" | "removeItem">;

export interface Entry {
  /** The version that the edits began from. */
  base: string;
  n: number;
  text: string;
}

const PREFIX = "motionhub.edits.";
const HAND = "motionhub.hand";

export class Journal {
  readonly #store: Store | null;
  /** This browser's own mark, by which the hub finds its drafts again. */
  readonly hand: string;

  /** `store` is null where the browser keeps nothing: then edits last as long as the page. */
  constructor(store: Store | null, random: () => number = Math.random) {
    this.#store = store;
    let hand = this.#read(HAND);
    if (!hand || !/^[A-Za-z0-9]{1,40}$/.test(hand)) {
      hand = Array.from({ length: 20 }, () => "abcdefghijkmnpqrstuvwxyz23456789".charAt(Math.floor(random() * 32))).join("");
      this.#write(HAND, hand);
    }
    this.hand = hand;
  }

  read(name: string): Entry | null {
    try {
      const entry = JSON.parse(this.#read(PREFIX + name.toLowerCase()) ?? "null") as Entry | null;
      const good = entry && typeof entry.base === "string" && typeof entry.n === "number" && typeof entry.text === "string";
      return good ? entry : null;
    } catch {
      return null;
    }
  }

  /** Whether it could be written. */
  write(name: string, entry: Entry): boolean {
    return this.#write(PREFIX + name.toLowerCase(), JSON.stringify(entry));
  }

  clear(name: string): void {
    try {
      this.#store?.removeItem(PREFIX + name.toLowerCase());
    } catch {
      // What keeps nothing has nothing to lose.
    }
  }

  #read(key: string): string | null {
    try {
      return this.#store?.getItem(key) ?? null;
    } catch {
      return null;
    }
  }

  #write(key: string, value: string): boolean {
    try {
      this.#store?.setItem(key, value);
      return this.#store !== null;
    } catch {
      return false;
    }
  }
}
