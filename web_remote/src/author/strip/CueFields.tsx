import type { JSX } from "preact";
import { plainName } from "../../words.ts";
import { placedCues } from "../edits.ts";
import { NumberField, TimeField } from "./Fields.tsx";
import type { StripState } from "./state.ts";

/** A cue in numbers: which output, how much of it, how fast it comes, and for how long it stays. */
export function CueFields({ strip }: { strip: StripState }): JSX.Element | null {
  const { maker } = strip;
  const [sheet, house] = [maker.sheet.value, maker.house.value];
  const own = sheet && placedCues(sheet).find(({ id }) => id === strip.active.value.id);
  if (!own || !house) return null;
  const { cue, ms } = own;
  return (
    <div class="strip-tools" role="group" aria-label="This cue">
      <label class="strip-field">
        <span>Output</span>
        <select value={cue.output} onChange={(event) => maker.do({ do: "set-cue", cue: own.id, set: { output: event.currentTarget.value } })}>
          {house.robot.outputs.map(({ name }) => (
            <option key={name} value={name}>
              {plainName(name)}
            </option>
          ))}
        </select>
      </label>
      <TimeField words="At" ms={ms} take={(at_ms) => maker.do({ do: "set-cue", cue: own.id, at_ms })} />
      <NumberField words="Level" unit="%" value={cue.level * 100} low={0} high={100} step={5} take={(value) => maker.do({ do: "set-cue", cue: own.id, set: { level: value / 100 } })} />
      <NumberField words="Comes within" unit="ms" value={cue.fade_ms ?? 0} low={0} step={50} take={(fade_ms) => maker.do({ do: "set-cue", cue: own.id, set: { fade_ms } })} />
      {cue.for_ms === undefined ? (
        <button type="button" onClick={() => maker.do({ do: "set-cue", cue: own.id, set: { for_ms: Math.max(500, cue.fade_ms ?? 0) } })}>
          Only for a while
        </button>
      ) : (
        <>
          <NumberField words="Stays for" unit="ms" value={cue.for_ms} low={1} step={50} take={(for_ms) => maker.do({ do: "set-cue", cue: own.id, set: { for_ms } })} />
          <button type="button" onClick={() => maker.do({ do: "set-cue", cue: own.id, for_ever: true })}>
            Until told otherwise
          </button>
        </>
      )}
      <button type="button" onClick={() => strip.remove()}>
        Remove
      </button>
    </div>
  );
}
