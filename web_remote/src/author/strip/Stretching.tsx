import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useMaker } from "../context.ts";
import { NumberField, TimeField } from "./Fields.tsx";
import { stripOf } from "./state.ts";

/** Time itself: how long the chosen stretch takes, and room at the light. */
export function Stretching(): JSX.Element {
  const maker = useMaker();
  const strip = stripOf(maker);
  const room = useSignal(500);
  const error = useSignal(1);
  const range = strip.view.range.value;
  const stretch = (factor: number): void => {
    if (!range) return;
    const [from, to] = range;
    if (maker.do({ do: "stretch", from_ms: from, to_ms: to, factor })) strip.view.range.value = [from, from + (to - from) * factor];
  };
  return (
    <div class="strip-tools" role="group" aria-label="Time">
      {range ? (
        <>
          <TimeField words="From" ms={range[0]} take={(ms) => ms < range[1] && (strip.view.range.value = [Math.max(0, ms), range[1]])} />
          <TimeField words="To" ms={range[1]} take={(ms) => ms > range[0] && (strip.view.range.value = [range[0], ms])} />
          <TimeField words="Lasts" long ms={range[1] - range[0]} take={(ms) => ms > 0 && stretch(ms / (range[1] - range[0]))} />
          <button type="button" onClick={() => stretch(2)}>
            Twice as slow
          </button>
          <button type="button" onClick={() => stretch(0.5)}>
            Twice as fast
          </button>
          <button type="button" onClick={() => maker.do({ do: "trim", from_ms: range[0], to_ms: range[1] }) && (strip.view.range.value = null)}>
            Keep only this
          </button>
        </>
      ) : (
        <>
          <TimeField
            words="Room"
            long
            ms={room.value}
            take={(ms) => {
              room.value = ms;
            }}
          />
          <button type="button" onClick={() => maker.do({ do: "insert", at_ms: maker.player.at.peek(), ms: room.value })}>
            Make room here
          </button>
          <TimeField words="Ends at" ms={maker.lengthMs.value} take={(ms) => strip.endAt(ms)} />
          <NumberField
            words="Thin, within"
            unit="°"
            value={error.value}
            low={0.05}
            high={20}
            step={0.05}
            take={(value) => {
              error.value = value;
            }}
          />
          <button type="button" disabled={maker.mending.value !== ""} onClick={() => maker.thin(error.value)}>
            Leave out keys
          </button>
        </>
      )}
    </div>
  );
}
