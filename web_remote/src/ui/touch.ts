import type { TargetedPointerEvent } from "preact";
import { useEffect, useRef } from "preact/hooks";

/** Where a touch is, from the middle of the element and in its half width and half height. */
export interface Touch {
  x: number;
  y: number;
}

export interface Held<E extends Element> {
  onPointerDown: (event: TargetedPointerEvent<E>) => void;
  onPointerMove: (event: TargetedPointerEvent<E>) => void;
  onPointerUp: (event: TargetedPointerEvent<E>) => void;
  onPointerCancel: (event: TargetedPointerEvent<E>) => void;
  onLostPointerCapture: (event: TargetedPointerEvent<E>) => void;
  onContextMenu: (event: Event) => void;
}

/**
 * Follows one finger on an element from touch to lift, also when it slides off. Two elements with a
 * finger each go side by side; a second finger on the same one is ignored.
 */
export function useHeld<E extends Element>(able: boolean, moved: (touch: Touch | null) => void): Held<E> {
  const finger = useRef<number | null>(null);
  const lift = (): void => {
    if (finger.current === null) return;
    finger.current = null;
    moved(null);
  };
  useEffect(() => {
    if (!able) lift();
  }, [able]);
  useEffect(() => lift, []);
  const at = (event: TargetedPointerEvent<E>): void => {
    const box = event.currentTarget.getBoundingClientRect();
    const [halfWidth, halfHeight] = [box.width / 2, box.height / 2];
    moved({
      x: (event.clientX - box.left - halfWidth) / halfWidth,
      y: (event.clientY - box.top - halfHeight) / halfHeight,
    });
  };
  const gone = (event: TargetedPointerEvent<E>): void => {
    if (event.pointerId === finger.current) lift();
  };
  return {
    onPointerDown(event) {
      if (!able || finger.current !== null || event.button !== 0) return;
      event.currentTarget.setPointerCapture(event.pointerId);
      finger.current = event.pointerId;
      at(event);
    },
    onPointerMove(event) {
      if (event.pointerId === finger.current) at(event);
    },
    onPointerUp: gone,
    onPointerCancel: gone,
    onLostPointerCapture: gone,
    onContextMenu: (event) => event.preventDefault(),
  };
}
