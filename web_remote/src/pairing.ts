/**
 * The key that pairs this browser with the hub. It comes in the address's fragment, which no browser
 * sends over the network; it is kept in this browser's storage and taken out of the address bar, so
 * that a photo of the screen or a shared link does not give it away.
 */

const KEY = "motionhub.key";
const NAME = "motionhub.name";

type Store = Pick<Storage, "getItem" | "setItem" | "removeItem">;
type Place = Pick<Location, "hash" | "pathname" | "search">;
type Past = Pick<History, "replaceState">;

/** A key as it stands after `#key=`; null when there is none. Accepts a bare key or a whole address. */
export function readKey(text: string): string | null {
  const typed = text.trim();
  const inAddress = /#(?:.*&)?key=([^&\s]*)/.exec(typed)?.[1];
  if (inAddress === undefined && /[#/:?\s]/.test(typed)) return null;
  let key: string;
  try {
    key = decodeURIComponent(inAddress ?? typed);
  } catch {
    return null;
  }
  return key.length > 0 && key.length <= 128 ? key : null;
}

export class Pairing {
  readonly #store: Store | null;
  #key: string | null;

  /** Takes a key out of the address, or the kept one. `store` is null where the browser keeps nothing. */
  constructor(place: Place, past: Past, store: Store | null) {
    this.#store = store;
    this.#key = null;
    if (place.hash.includes("key=")) {
      this.key = readKey(place.hash);
      past.replaceState(null, "", place.pathname + place.search);
    }
    this.#key ??= this.#read(KEY);
  }

  get key(): string | null {
    return this.#key;
  }

  /** Keeps a key; null forgets it. */
  set key(key: string | null) {
    this.#key = key;
    this.#write(KEY, key);
  }

  /** What this device is called in the status line, at most 40 characters. */
  get name(): string {
    return this.#read(NAME) ?? "";
  }

  set name(name: string) {
    this.#write(NAME, name.trim().slice(0, 40) || null);
  }

  #read(item: string): string | null {
    try {
      return this.#store?.getItem(item) ?? null;
    } catch {
      return null;
    }
  }

  #write(item: string, value: string | null): void {
    try {
      if (value === null) this.#store?.removeItem(item);
      else this.#store?.setItem(item, value);
    } catch {
      // A browser that keeps nothing still drives until the page is closed.
    }
  }
}

/** Where the browser keeps things, or null where it refuses even to be asked. */
export function browserStore(): Store | null {
  try {
    return window.localStorage;
  } catch {
    return null;
  }
}

/** A first name for a device nobody has named, from what the browser says it is. */
export function deviceName(agent: string, touch: boolean): string {
  if (/iPhone|Android.*Mobile/.test(agent)) return "Phone";
  if (/iPad|Android/.test(agent) || (touch && /Macintosh/.test(agent))) return "Tablet";
  return "Laptop";
}
