import { useComputed, useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { turnTowards } from "../drive.ts";
import { useRemote } from "./context.ts";
import { type Touch, useHeld } from "./touch.ts";

/** The strip under the floor: hold left or right of its middle to turn that way, the farther the faster. */
export function TurnStrip(): JSX.Element {
  const remote = useRemote();
  const touch = useSignal<Touch | null>(null);
  const may = remote.mayDrive.value;
  const held = useHeld<HTMLDivElement>(may.able, (at) => {
    touch.value = at;
    if (at) remote.drive.hold("strip", { forward: 0, left: 0, turn: turnTowards(at.x, 1) });
    else remote.drive.letGo("strip");
  });
  const x = useComputed(() => (touch.value ? Math.max(-1, Math.min(1, touch.value.x)) : 0));
  const holding = touch.value !== null;
  return (
    <div
      class={`turn${may.able ? "" : " barred"}${holding ? " held" : ""}`}
      role="group"
      aria-label="Turn strip"
      aria-describedby="turn-how"
      aria-disabled={!may.able}
      style={{ "--at": x.value }}
      {...held}
    >
      <span class="turn-light" />
      <svg class="mark turn-mark" viewBox="0 0 20 20" aria-hidden="true">
        <path d="M16 16A8 8 0 0 0 4 8M9 3.5 3.5 8.2 8.5 13" />
      </svg>
      <span class="turn-word">Turn</span>
      <svg class="mark turn-mark" viewBox="0 0 20 20" aria-hidden="true">
        <path d="M4 16A8 8 0 0 1 16 8M11 3.5 16.5 8.2 11.5 13" />
      </svg>
      <span class="turn-knob" />
      <p id="turn-how" class="unseen">
        Hold left or right of the middle to turn that way; lift to stop. By keyboard: Q and E.
      </p>
    </div>
  );
}
