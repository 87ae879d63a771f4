import { computed, type ReadonlySignal } from "@preact/signals";

/** Derived 25 times a second, but the same object as long as it says the same, so that nothing is redrawn. */
export function settled<T>(derive: () => T): ReadonlySignal<T> {
  let last: { text: string; value: T } | null = null;
  return computed(() => {
    const value = derive();
    const text = JSON.stringify(value);
    if (last?.text !== text) last = { text, value };
    return last.value;
  });
}
