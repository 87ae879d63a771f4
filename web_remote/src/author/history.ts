/**
 * Undo and redo, without limit within a visit. Steps share all that they do not change. While a hand drags
 * something, its many edits are one step: each is worked out anew from where the drag began.
 */

import { type Action, apply, type House, type Sheet } from "./edits.ts";

interface Step {
  readonly sheet: Sheet;
  /** What led to it, for the words of Undo. */
  readonly did: Action["do"] | "open";
  /** The gesture that it belongs to, while it may still be replaced. */
  readonly gesture: string | null;
}

export interface History {
  readonly past: readonly Step[];
  readonly now: Step;
  readonly future: readonly Step[];
}

export function begin(sheet: Sheet): History {
  return { past: [], now: { sheet, did: "open", gesture: null }, future: [] };
}

/**
 * Takes an action. With a `gesture`, an earlier action of the same gesture is replaced: it is as if only this one
 * had been done. Throws Unable, and then nothing has changed.
 */
export function perform(history: History, action: Action, house: House, gesture: string | null = null): History {
  const again = gesture !== null && history.now.gesture === gesture && history.past.length > 0;
  const base = again ? (history.past[history.past.length - 1] as Step) : history.now;
  const sheet = apply(base.sheet, action, house);
  if (sheet === base.sheet) return again ? { ...history, now: { ...base, gesture: null }, past: history.past.slice(0, -1) } : history;
  const past = again ? history.past : [...history.past, { ...history.now, gesture: null }];
  return { past, now: { sheet, did: action.do, gesture }, future: [] };
}

/** The gesture is over: what follows is a step of its own. */
export function settle(history: History): History {
  return history.now.gesture === null ? history : { ...history, now: { ...history.now, gesture: null } };
}

export function undo(history: History): History {
  const before = history.past.at(-1);
  if (!before) return history;
  return { past: history.past.slice(0, -1), now: before, future: [{ ...history.now, gesture: null }, ...history.future] };
}

export function redo(history: History): History {
  const [after, ...future] = history.future;
  return after ? { past: [...history.past, { ...history.now, gesture: null }], now: after, future } : history;
}
