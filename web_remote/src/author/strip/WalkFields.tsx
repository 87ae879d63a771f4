import type { JSX } from "preact";
import { plainName } from "../../words.ts";
import { BOUNDS } from "../document.gen.ts";
import { placedWalks } from "../edits.ts";
import { NumberField, TimeField } from "./Fields.tsx";
import type { StripState } from "./state.ts";

/** A stretch of walking in numbers. */
export function WalkFields({ strip }: { strip: StripState }): JSX.Element | null {
  const { maker } = strip;
  const [sheet, house] = [maker.sheet.value, maker.house.value];
  const own = sheet && placedWalks(sheet).find(({ id }) => id === strip.active.value.id);
  if (!own || !house) return null;
  const { walk, from, to } = own;
  const gait = walk.gait ?? house.maker.gaits[0]?.name ?? "";
  const most = house.maker.gaits.find(({ name }) => name === gait);
  const set = (fields: Parameters<typeof Object.assign>[1]): boolean => maker.do({ do: "set-walk", walk: own.id, set: { ...bare(walk), ...fields } });
  const speed = (words: string, name: "forward_mm_s" | "left_mm_s" | "turn_deg_s", unit: string, limit = 0): JSX.Element => (
    <NumberField
      words={limit > 0 ? `${words}, to ${Math.round(limit)}` : words}
      unit={unit}
      value={walk[name] ?? 0}
      low={BOUNDS.WalkStretch[name][0]}
      high={BOUNDS.WalkStretch[name][1]}
      step={5}
      take={(value) => set({ [name]: value })}
    />
  );
  return (
    <div class="strip-tools" role="group" aria-label="This walk">
      <label class="strip-field">
        <span>Gait</span>
        <select value={gait} onChange={(event) => set({ gait: event.currentTarget.value })}>
          {house.maker.gaits.map(({ name }) => (
            <option key={name} value={name}>
              {plainName(name)}
            </option>
          ))}
        </select>
      </label>
      {speed("Forward", "forward_mm_s", "mm/s", most?.forward_mm_s)}
      {speed("Left", "left_mm_s", "mm/s", most?.left_mm_s)}
      {speed("Turn left", "turn_deg_s", "°/s", most?.turn_deg_s)}
      <TimeField words="From" ms={from} take={(ms) => maker.do({ do: "set-walk", walk: own.id, from_ms: ms })} />
      <TimeField words="To" ms={to} take={(ms) => maker.do({ do: "set-walk", walk: own.id, to_ms: ms })} />
      <NumberField words="One cycle" unit="ms" value={walk.cycle_ms ?? house.maker.cycle_ms} low={200} high={20000} step={50} take={(cycle_ms) => set({ cycle_ms })} />
      <NumberField words="Lifts feet" unit="mm" value={walk.lift_mm ?? house.maker.lift_mm} low={1} high={300} take={(lift_mm) => set({ lift_mm })} />
      <button type="button" onClick={() => strip.remove()}>
        Remove
      </button>
    </div>
  );
}

function bare(walk: object): object {
  const { from_ms: _a, to_ms: _b, from_beat: _c, to_beat: _d, ...rest } = walk as Record<string, unknown>;
  return rest;
}
