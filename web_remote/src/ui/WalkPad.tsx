import { useComputed, useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { walkTowards } from "../drive.ts";
import { useRemote } from "./context.ts";
import { Plan } from "./Plan.tsx";
import { type Touch, useHeld } from "./touch.ts";

/** How far the lantern's light opens to each side of where the thumb points. */
const OPEN = 0.42;

function beam({ x, y }: Touch): string {
  const length = Math.min(1, Math.hypot(x, y)) * 96;
  const towards = Math.atan2(y, x);
  const edge = (angle: number): string =>
    `${(length * Math.cos(angle)).toFixed(1)} ${(length * Math.sin(angle)).toFixed(1)}`;
  return `M0 0L${edge(towards - OPEN)}A${length} ${length} 0 0 1 ${edge(towards + OPEN)}Z`;
}

/**
 * The floor around the robot, seen from above: hold where it shall walk to. The farther out, the
 * faster; lifting the finger stops it. A lantern's light falls where the thumb is.
 */
export function WalkPad(): JSX.Element {
  const remote = useRemote();
  const touch = useSignal<Touch | null>(null);
  const may = remote.mayDrive.value;
  const held = useHeld<SVGSVGElement>(may.able, (at) => {
    touch.value = at;
    if (at) remote.drive.hold("pad", { ...walkTowards(at.x, at.y, 1), turn: 0 });
    else remote.drive.letGo("pad");
  });
  const limited = useComputed(() => remote.limit.value !== "" && touch.value !== null);
  const thumb = useComputed(() => {
    if (!touch.value) return null;
    const { x, y } = touch.value;
    const far = Math.max(1, Math.hypot(x, y));
    return { x: (x / far) * 92, y: (y / far) * 92 };
  });
  return (
    <div class={`walk${may.able ? "" : " barred"}${limited.value ? " limited" : ""}`}>
      <svg
        viewBox="-100 -100 200 200"
        role="group"
        aria-label="Walk pad"
        aria-describedby="walk-how"
        aria-disabled={!may.able}
        {...held}
      >
        <defs>
          <radialGradient id="lantern" gradientUnits="userSpaceOnUse" cx="0" cy="0" r="96">
            <stop offset="0" stop-color="var(--glow)" stop-opacity="0.95" />
            <stop offset="1" stop-color="var(--glow)" stop-opacity="0.25" />
          </radialGradient>
        </defs>
        <circle class="floor" r="98" />
        <circle class="ring" r="52" />
        <circle class="most" r="91" />
        {[0, 90, 180, 270].map((turn) => (
          <path key={turn} class="towards" d="M-7-82 0-90 7-82" transform={`rotate(${turn})`} />
        ))}
        {touch.value && <path class="beam" d={beam(touch.value)} fill="url(#lantern)" />}
        <Plan reach={50} />
        {thumb.value && <circle class="thumb" cx={thumb.value.x} cy={thumb.value.y} r="15" />}
      </svg>
      <p id="walk-how" class="unseen">
        Hold towards where it shall walk; lift to stop. By keyboard: arrows or W, A, S, D.
      </p>
    </div>
  );
}
