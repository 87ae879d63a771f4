/** Where somebody was, for when the page is opened again: kept in this browser, and nowhere else. */

export interface Place {
  card?: string;
  /** The move that is being made, and where in it. */
  makes?: string | null;
  /** Whether the place for bring-up was open. */
  brings?: boolean;
  at_ms?: number;
  part?: string;
  /** Which of the parts of the place is shown where there is little room. */
  turn?: string;
}

const KEY = "motionhub.place";

export function recall(store: Pick<Storage, "getItem"> | null): Place {
  try {
    const found: unknown = JSON.parse(store?.getItem(KEY) ?? "{}");
    return typeof found === "object" && found !== null ? (found as Place) : {};
  } catch {
    return {};
  }
}

export function remember(store: Pick<Storage, "getItem" | "setItem"> | null, some: Place): void {
  try {
    store?.setItem(KEY, JSON.stringify({ ...recall(store), ...some }));
  } catch {
    // A browser that keeps nothing begins at the beginning.
  }
}
