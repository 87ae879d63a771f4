import { type ReadonlySignal, useComputed } from "@preact/signals";
import type { JSX } from "preact";
import { useRef } from "preact/hooks";
import { usePoser } from "./context.ts";
import type { Got } from "./poser.ts";

export const COARSE_STEP = 5;
export const FINE_STEP = 0.5;

interface RowProps {
  label: string;
  unit: "mm" | "°";
  value: ReadonlySignal<number>;
  min: number;
  max: number;
  /** Moves it; a gesture's moves are one step for Undo. Returns where it got to. */
  move: (to: number, gesture: string | null) => Got<number>;
}

/**
 * One number of the pose: a step down, a slider, a step up, and the number itself. Its values are set on the elements
 * directly, so that a hand that drags in the 3D view does not have this drawn anew for every picture.
 */
export function Row({ label, unit, value, min, max, move }: RowProps): JSX.Element {
  const poser = usePoser();
  const gesture = useRef<string | null>(null);
  const number = useRef<HTMLInputElement>(null);
  const slider = useRef<HTMLInputElement>(null);
  const shown = useComputed(() => Math.round(value.value * 10) / 10 + 0);
  const spoken = useComputed(() => `${shown.value} ${unit === "mm" ? "millimetres" : "degrees"}`);
  const from = useComputed(() => ({ "--from": share(Math.min(0, shown.value)), "--to": share(Math.max(0, shown.value)) }));
  const share = (at: number): number => Math.min(1, Math.max(0, (at - min) / (max - min)));
  const step = poser.fine.value ? FINE_STEP : COARSE_STEP;
  /** What could not be reached is not left standing in the fields. */
  const show = ({ at }: Got<number>): void => {
    const text = String(Math.round(at * 10) / 10 + 0);
    if (number.current) number.current.value = text;
    if (slider.current) slider.current.value = text;
  };
  const by = (steps: number): void => show(move(Math.round((value.peek() + steps * step) * 10) / 10, null));
  const words = `${label}, ${unit === "mm" ? "mm" : "degrees"}`;
  return (
    <div class="pose-row" role="group" aria-label={label}>
      <span class="pose-name">{label}</span>
      <button type="button" class="quiet" aria-label={`${label}: ${step} ${unit} less`} onClick={() => by(-1)}>
        <svg class="mark" viewBox="0 0 20 20" aria-hidden="true">
          <path d="M4 10h12" />
        </svg>
      </button>
      <span class="slider">
        <input
          ref={slider}
          type="range"
          aria-label={words}
          aria-valuetext={spoken}
          min={min}
          max={max}
          step={poser.fine.value ? FINE_STEP : 1}
          value={shown}
          style={from}
          onInput={(event) => {
            gesture.current ??= poser.gesture();
            show(move(event.currentTarget.valueAsNumber, gesture.current));
          }}
          onChange={() => {
            gesture.current = null;
            poser.settle();
          }}
        />
      </span>
      <button type="button" class="quiet" aria-label={`${label}: ${step} ${unit} more`} onClick={() => by(1)}>
        <svg class="mark" viewBox="0 0 20 20" aria-hidden="true">
          <path d="M4 10h12M10 4v12" />
        </svg>
      </button>
      <label class="pose-number">
        <input
          ref={number}
          type="number"
          inputMode="decimal"
          aria-label={`${words}, typed`}
          step={step}
          value={shown}
          onChange={(event) => {
            const typed = event.currentTarget.valueAsNumber;
            if (Number.isFinite(typed)) show(move(typed, null));
            else show({ at: value.peek(), ends: false });
          }}
        />
        <span aria-hidden="true">{unit}</span>
      </label>
    </div>
  );
}
