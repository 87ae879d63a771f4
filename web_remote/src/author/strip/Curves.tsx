import { useSignal } from "@preact/signals";
import type { ComponentType, JSX } from "preact";
import { useEffect } from "preact/hooks";
import { useMaker } from "../context.ts";
import { type Subject, subjectOf, subjectsOf } from "./series.ts";
import { stripOf } from "./state.ts";
import { saidTime } from "./view.ts";

/** A curve under the strip, at the same times; what draws it comes when it is first wanted. */
export function Curves(): JSX.Element | null {
  const maker = useMaker();
  const strip = stripOf(maker);
  const plot = useSignal<ComponentType | null>(null);
  const missing = useSignal(false);
  useEffect(() => {
    void import("./Plot.tsx").then(
      ({ Plot }) => {
        plot.value = Plot;
      },
      () => {
        missing.value = true;
      },
    );
  }, [plot, missing]);
  const [house, preview, doc] = [maker.house.value, maker.preview.value, maker.doc.value];
  if (!house || !doc) return null;
  const subject = preview && subjectOf(strip.subject.value, preview, house);
  const Plot = plot.value;
  return (
    <div class="strip-curves" role="group" aria-label="Curves">
      <div class="strip-tools">
        <label class="strip-field">
          <span>Curve of</span>
          <select
            value={strip.subject.value}
            onChange={(event) => {
              strip.subject.value = event.currentTarget.value;
            }}
          >
            {subjectsOf(house).map(({ words, subjects }) => (
              <optgroup key={words} label={words}>
                {subjects.map(({ id, words: own }) => (
                  <option key={id} value={id}>
                    {own}
                  </option>
                ))}
              </optgroup>
            ))}
          </select>
        </label>
        {subject && <Figure subject={subject} />}
        {subject?.limits.map(({ words, value }) => (
          <span key={words} class="strip-limit">
            {words} {value.toFixed(value === Math.round(value) ? 0 : 1)} {subject.unit}
          </span>
        ))}
      </div>
      {missing.value && <p class="small">The curves could not be loaded.</p>}
      {!preview && <p class="small">There is a curve as soon as the hub has said how the move goes.</p>}
      {Plot && subject && <Plot />}
    </div>
  );
}

/** The value where the time is: this alone is drawn anew for each picture. */
function Figure({ subject }: { subject: Subject }): JSX.Element | null {
  const maker = useMaker();
  const [preview, doc] = [maker.preview.value, maker.doc.value];
  if (!preview || !doc) return null;
  const at = maker.player.at.value;
  const row = Math.min(preview.frames - 1, Math.round((at / 1000) * preview.rate_hz));
  return (
    <output class="strip-figure" data-testid="figure">
      {subject.at(row).toFixed(1)} {subject.unit} <span class="small">at {saidTime(doc, at)}</span>
    </output>
  );
}
