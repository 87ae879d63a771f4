import type { JSX } from "preact";
import { gaitWords } from "../gaits.ts";
import { capital, plainName } from "../words.ts";
import { useRemote } from "./context.ts";
import { Slider } from "./Slider.tsx";

/** By which gait it walks, how high it lifts its feet, and whether its head leads into a turn; also while it walks. */
export function GaitLeaf({ able }: { able: boolean }): JSX.Element | null {
  const remote = useRemote();
  const robot = remote.robot.value;
  if (!robot) return null;
  const chosen = remote.gait.value.value;
  const gait = robot.gaits.find(({ name }) => name === chosen);
  const [low, high] = robot.lift_range_mm;
  const leads = remote.leads.value.value;
  const lift = Math.round(remote.footLift.value.value);
  return (
    <div class="gait">
      <div class="gaits" role="radiogroup" aria-label="Gait" aria-describedby="gait-how" data-keys="own">
        {robot.gaits.map(({ name }) => (
          <label key={name} class={name === chosen ? "pick picked" : "pick"}>
            <input
              type="radio"
              name="gait"
              checked={name === chosen}
              disabled={!able}
              onChange={() => remote.setGait(name)}
            />
            {capital(plainName(name))}
          </label>
        ))}
      </div>
      <p id="gait-how" class="small">
        {gait ? gaitWords(gait) : ""}
      </p>
      <div class="gait-more">
        <Slider
          label="Lift feet"
          min={Math.ceil(low)}
          max={Math.floor(high)}
          step={1}
          value={lift}
          shown={`${lift} mm`}
          disabled={!able}
          onValue={(mm) => remote.setLift(mm)}
        />
        {robot.leads && (
          // A button, not a checkbox: by keyboard that would take the space bar, which always means Stop.
          <button
            type="button"
            class="tick"
            role="switch"
            aria-checked={leads}
            disabled={!able}
            onClick={() => remote.setLeads(!leads)}
          >
            <svg class="mark" viewBox="0 0 20 20" aria-hidden="true">
              <path class="box" d="M2 2h16v16H2z" />
              {leads && <path d="M5 10.5 9 14.5 15.5 5.5" />}
            </svg>
            Head leads turns
          </button>
        )}
      </div>
    </div>
  );
}
