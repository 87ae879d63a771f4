/** What the keyboard does, wherever the focus is: Space or Escape stops; on the Drive card, keys walk and carry the body. */

import { drives, keysTwist } from "./drive.ts";
import { carriedOn } from "./lean.ts";
import type { Remote } from "./remote.ts";

const TEXT = 'input:not([type="range"], [type="radio"], [type="checkbox"]), textarea, select, [contenteditable]';
/** Parts with a use of their own for the space bar; to a choice that was made it is none. */
const SPACE = `${TEXT}, input[type="checkbox"]`;
/** Parts with a use of their own for the arrow keys. */
const ARROWS = 'input, [role="tab"], [data-keys="own"]';

/** Listens until the returned function is called. `driving` tells whether the Drive card is shown. */
export function listenToKeys(remote: Remote, driving: () => boolean): () => void {
  const held = new Set<string>();

  const within = (event: Event, selector: string): boolean =>
    event.target instanceof Element && event.target.closest(selector) !== null;
  const isStop = (event: KeyboardEvent): boolean =>
    event.code === "Escape" || (event.code === "Space" && !within(event, SPACE));
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
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (!drives(event.code)) {
      if (driving() && !within(event, TEXT) && setsOtherwise(event.code)) event.preventDefault();
      return;
    }
    if (!driving() || within(event, event.code.startsWith("Arrow") ? ARROWS : TEXT)) return;
    event.preventDefault();
    if (event.repeat || !remote.mayDrive.peek().able) return;
    held.add(event.code);
    hold();
  };
  /** Keys that need not be held: the body's lean and height, and gaits by their place in the list. */
  const setsOtherwise = (code: string): boolean => {
    const robot = remote.robot.peek();
    if (!robot) return false;
    const carried = carriedOn(code, remote.posture.value.peek(), robot);
    if (carried) {
      if (remote.mayDrive.peek().able) remote.carry(carried);
      return true;
    }
    const gait = /^Digit[1-9]$/.test(code) ? robot.gaits[Number(code.at(-1)) - 1] : undefined;
    if (gait && remote.mayCommand.peek().able) remote.setGait(gait.name);
    return gait !== undefined;
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
