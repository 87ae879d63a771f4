import type { JSX } from "preact";

interface SliderProps {
  label: string;
  value: number;
  min: number;
  max: number;
  step: number;
  /** The value as it is read out and shown. */
  shown: string;
  /** Where it returns to on a double press; none when left out. */
  home?: number;
  upright?: boolean;
  disabled?: boolean;
  onValue: (value: number) => void;
}

/** A native slider, lying or upright, with its name and its value beside it. */
export function Slider(props: SliderProps): JSX.Element {
  const { label, value, min, max, step, shown, home, upright = false, disabled = false, onValue } = props;
  const share = (at: number): number => (at - min) / Math.max(1e-9, max - min);
  // A slider with a home in its middle is filled from there.
  const [from, to] = [home === undefined ? -1 : share(home), share(value)];
  return (
    <label class={upright ? "slider upright" : "slider"}>
      <span class="slider-name">{label}</span>
      <input
        type="range"
        min={min}
        max={max}
        step={step}
        value={value}
        disabled={disabled}
        aria-orientation={upright ? "vertical" : "horizontal"}
        aria-valuetext={shown}
        style={{ "--from": Math.min(from, to), "--to": Math.max(from, to) }}
        onInput={(event) => onValue(event.currentTarget.valueAsNumber)}
        onDblClick={() => home !== undefined && onValue(home)}
      />
      <output class="slider-value">{shown}</output>
    </label>
  );
}
