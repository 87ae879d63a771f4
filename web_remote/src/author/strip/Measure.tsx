import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useMaker } from "../context.ts";
import { countsBeats } from "../document.ts";
import { NumberField } from "./Fields.tsx";
import { stripOf } from "./state.ts";
import { Taps } from "./taps.ts";

const PARTS = [1, 2, 3, 4, 6, 8, 16] as const;

/** What time is counted in, and what it catches on. */
export function Measure(): JSX.Element | null {
  const maker = useMaker();
  const strip = stripOf(maker);
  const taps = useSignal(new Taps());
  const doc = maker.doc.value;
  if (!doc) return null;
  const beats = countsBeats(doc);
  const tempo = doc.tempo_bpm ?? 120;
  const { view } = strip;
  return (
    <div class="strip-tools" role="group" aria-label="How time is counted">
      <label class="strip-field">
        <span>Count in</span>
        <select value={beats ? "beats" : "ms"} onChange={(event) => maker.do(event.currentTarget.value === "beats" ? { do: "beats", tempo_bpm: tempo } : { do: "milliseconds" })}>
          <option value="ms">seconds</option>
          <option value="beats">beats</option>
        </select>
      </label>
      {beats && (
        <>
          <NumberField words="Tempo" unit="a minute" value={tempo} low={10} high={400} take={(tempo_bpm) => maker.do({ do: "tempo", tempo_bpm })} />
          <button
            type="button"
            onPointerDown={tap}
            onClick={(event) => {
              // By keyboard there is no pointer that went down before.
              if (event.detail === 0) tap();
            }}
          >
            Tap the beat
          </button>
        </>
      )}
      <label class="strip-check">
        <input
          type="checkbox"
          checked={view.catching.value}
          onChange={(event) => {
            view.catching.value = event.currentTarget.checked;
          }}
        />
        Catch on
      </label>
      <label class="strip-field">
        <span>{beats ? "Parts of a beat" : "Parts of a second"}</span>
        <select
          value={view.parts.value}
          onChange={(event) => {
            view.parts.value = Number(event.currentTarget.value);
          }}
        >
          {(beats ? PARTS : [1, 2, 4, 5, 10, 20, 50]).map((parts) => (
            <option key={parts} value={parts}>
              {parts === 1 ? "whole" : `1/${parts}`}
            </option>
          ))}
        </select>
      </label>
    </div>
  );

  function tap(): void {
    const bpm = taps.value.tap(performance.now());
    if (bpm !== null) maker.do({ do: "tempo", tempo_bpm: bpm });
  }
}
