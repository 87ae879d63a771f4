import { useComputed, useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { leansTo, leanTowards } from "../lean.ts";
import type { RobotInfo } from "../messages.gen.ts";
import { useRemote } from "./context.ts";
import { useHeld } from "./touch.ts";

const NO_RANGE: Pick<RobotInfo, "lean_range_deg"> = { lean_range_deg: [0, 0, 0] };

/**
 * The body over its feet, as a tray seen from above: touch where it shall lean to. It stays so when the finger is
 * lifted, as the height does, for it can then walk like that. The lantern hangs where it was put; the ring is where
 * the body really leans, by what the hub tells.
 */
export function LeanPad(): JSX.Element {
  const remote = useRemote();
  const { posture, state, robot } = remote;
  const touched = useSignal(false);
  const may = remote.mayDrive.value;
  const range = robot.value ?? NO_RANGE;
  const held = useHeld<SVGSVGElement>(may.able, (at) => {
    touched.value = at !== null;
    if (at) remote.carry(leanTowards(at.x, at.y, robot.peek() ?? NO_RANGE));
  });
  const asked = useComputed(() => leansTo(posture.value.value, robot.value ?? NO_RANGE).map((at) => at * 84));
  const really = useComputed(() => {
    const [, , , roll_deg, pitch_deg] = state.value?.body ?? [0, 0, 0, 0, 0, 0];
    // Half a unit is a third of a pixel: what is below it need not be drawn anew.
    return leansTo({ roll_deg, pitch_deg }, robot.value ?? NO_RANGE).map((at) => Math.round(at * 168) / 2);
  });
  const { roll_deg, pitch_deg } = posture.value.value;
  const [x = 0, y = 0] = asked.value;
  const [rx = 0, ry = 0] = really.value;
  const [roll, pitch] = range.lean_range_deg;
  const axes = [
    ["Lean to the right", "roll_deg", roll, roll_deg, leanWords(roll_deg, "right", "left")],
    ["Lean forward", "pitch_deg", pitch, pitch_deg, leanWords(pitch_deg, "forward", "back")],
  ] as const;
  return (
    <div class={`walk lean${may.able ? "" : " barred"}${touched.value ? " held" : ""}`} role="group" aria-label="Lean pad">
      <svg viewBox="-100 -100 200 200" aria-hidden="true" data-testid="lean-pad" {...held}>
        <circle class="floor" r="98" />
        <path class="level-line" d="M-42 0H42M0-42V42" />
        <circle class="ring" r="42" />
        <circle class="ring" r="84" />
        <text class="rim" y="-62">
          nose down
        </text>
        <text class="rim" y="71">
          nose up
        </text>
        <path class="string" d={`M0 0L${x.toFixed(1)} ${y.toFixed(1)}`} />
        <circle class="really" cx={rx} cy={ry} r="20" />
        <path class="really" d={`M${rx - 5} ${ry}h10M${rx} ${ry - 5}v10`} />
        <circle class="thumb" cx={x} cy={y} r="13" />
      </svg>
      {axes.map(([label, name, most, value, shown]) => (
        <input
          key={name}
          class="unseen"
          type="range"
          aria-label={label}
          min={-Math.floor(most)}
          max={Math.floor(most)}
          step={1}
          value={value}
          aria-valuetext={shown}
          disabled={!may.able}
          onInput={(event) => remote.carry({ [name]: event.currentTarget.valueAsNumber })}
        />
      ))}
    </div>
  );
}

function leanWords(degrees: number, positive: string, negative: string): string {
  if (degrees === 0) return "level";
  return `${Math.abs(degrees).toFixed(0)} degrees ${degrees > 0 ? positive : negative}`;
}
