import { type ReadonlySignal, useComputed } from "@preact/signals";
import type { ComponentChildren, JSX } from "preact";
import { useRef } from "preact/hooks";
import { useHeld } from "../../ui/touch.ts";
import { usePoser } from "./context.ts";
import type { Got } from "./poser.ts";

interface PadProps {
  label: string;
  /** Right and up on the pad, each as its share of `reach`. */
  right: ReadonlySignal<number>;
  up: ReadonlySignal<number>;
  /** What the edge of the pad stands for. */
  reach: number;
  /** It goes back to its middle when the finger lifts. */
  springs?: boolean;
  move: (right: number, up: number, gesture: string) => Got<unknown>;
  children?: ComponentChildren;
}

/**
 * Two numbers of the pose under one finger. It moves on from where it is, wherever the finger is put down, and gets
 * no further than the robot does: a cord then stretches from the bead to the finger.
 */
export function Pad({ label, right, up, reach, springs = false, move, children }: PadProps): JSX.Element {
  const poser = usePoser();
  const began = useRef<{ x: number; y: number; right: number; up: number; gesture: string } | null>(null);
  const cord = useRef<SVGPathElement>(null);
  const held = useHeld<SVGSVGElement>(true, (touch) => {
    if (!touch) {
      if (springs && began.current) move(0, 0, began.current.gesture);
      began.current = null;
      cord.current?.setAttribute("d", "");
      poser.settle();
      return;
    }
    began.current ??= { x: touch.x, y: touch.y, right: right.peek(), up: up.peek(), gesture: poser.gesture() };
    const { x, y, right: r, up: u, gesture } = began.current;
    if (touch.x === x && touch.y === y) return;
    poser.held.value = `pad ${label}`;
    const [wishRight, wishUp] = [r + (touch.x - x) * reach, u - (touch.y - y) * reach];
    const { ends } = move(wishRight, wishUp, gesture);
    const from = `${place(right.peek() / reach)} ${place(-up.peek() / reach)}`;
    cord.current?.setAttribute("d", ends ? `M${from}L${place(wishRight / reach)} ${place(-wishUp / reach)}` : "");
  });
  const at = useComputed(() => `translate(${place(right.value / reach)} ${place(-up.value / reach)})`);
  return (
    <figure class="pose-pad">
      <svg viewBox="-100 -100 200 200" role="group" aria-label={`${label}, by touch`} {...held}>
        <rect class="ground" x="-98" y="-98" width="196" height="196" rx="22" />
        <path class="cross" d="M-92 0H92M0-92V92" />
        {children}
        <path class="cord" ref={cord} d="" />
        <g transform={at}>
          <circle class="bead" r="15" />
          <circle class="eye" r="4" />
        </g>
      </svg>
      <figcaption aria-hidden="true">{label}</figcaption>
    </figure>
  );
}

function place(share: number): string {
  return (Math.min(1, Math.max(-1, share)) * 80).toFixed(1);
}
