import type { JSX } from "preact";
import { useMaker } from "../context.ts";
import { beatMs, countsBeats } from "../document.ts";

/** A number that is taken when it is finished: with Enter, or by going on. */
export function NumberField({
  words,
  value,
  unit,
  low,
  high,
  step = 1,
  take,
}: {
  words: string;
  value: number;
  unit: string;
  low?: number;
  high?: number;
  step?: number;
  take: (value: number) => void;
}): JSX.Element {
  return (
    <label class="strip-field">
      <span>{words}</span>
      <span class="strip-unit">
        <input
          type="number"
          inputMode="decimal"
          value={Number(value.toFixed(3))}
          min={low}
          max={high}
          step={step}
          onChange={(event) => {
            const typed = event.currentTarget.valueAsNumber;
            if (Number.isFinite(typed)) take(typed);
            else event.currentTarget.value = String(Number(value.toFixed(3)));
          }}
        />
        {unit}
      </span>
    </label>
  );
}

/** A time, in the measure of the move. */
export function TimeField({ words, ms, long = false, take }: { words: string; ms: number; long?: boolean; take: (ms: number) => void }): JSX.Element {
  const maker = useMaker();
  const doc = maker.doc.value;
  const beats = doc !== null && countsBeats(doc);
  const unit = beats ? beatMs(doc) : 1;
  return (
    <NumberField
      words={words}
      value={beats ? ms / unit : Math.round(ms)}
      unit={beats ? (long ? "beats" : "beat") : "ms"}
      step={beats ? 0.25 : 10}
      take={(typed) => take(typed * unit)}
    />
  );
}
