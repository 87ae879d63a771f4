/** What the keyboard does, wherever the focus is: Space or Escape stops; on the Drive card, keys walk. */

import { drives, keysTwist } from "./drive.ts";
import type { Remote } from "./remote.ts";

const TEXT = 'input:not([type="range"]), textarea, select, [contenteditable]';
/** Parts with a use of their own for the arrow keys. */
const ARROWS = 'input, [role="tab"], [data-keys="own"]';

/** Listens until the returned function is called. `driving` tells whether the Drive card is shown. */
export function listenToKeys(remote: Remote, driving: () => boolean): () => void {
  const held = new Set<string>();

  const within = (event: Event, selector: string): boolean =>
    event.target instanceof Element && event.target.closest(selector) !== null;
  const isStop = (event: KeyboardEvent): boolean =>
    event.code === "Escape" || (event.code === "Space" && !within(event, TEXT));
  const hold = (): void => {
    if (held.size > 0) remote.drive.hold("keys", keysTwist(held));
    else remote.drive.letGo("keys");
  };

  const down = (event: KeyboardEvent): void => {
    if (isStop(event)) {
      // Before anything else that a focused button would do with it: Space always means Stop.
      event.preventDefault();
      if (!event.repeat) remote.stop();
      return;
    }
    if (event.ctrlKey || event.metaKey || event.altKey || !drives(event.code)) return;
    if (!driving() || within(event, event.code.startsWith("Arrow") ? ARROWS : TEXT)) return;
    event.preventDefault();
    if (event.repeat || !remote.mayDrive.peek().able) return;
    held.add(event.code);
    hold();
  };
  const up = (event: KeyboardEvent): void => {
    if (event.code === "Space" && isStop(event)) event.preventDefault();
    if (held.delete(event.code)) hold();
  };
  const letGo = (): void => {
    held.clear();
    remote.drive.letGoAll();
  };

  const off = new AbortController();
  const { signal } = off;
  window.addEventListener("keydown", down, { capture: true, signal });
  window.addEventListener("keyup", up, { capture: true, signal });
  window.addEventListener("blur", letGo, { signal });
  return () => off.abort();
}
