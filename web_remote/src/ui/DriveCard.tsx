import { useComputed, useSignal } from "@preact/signals";
import type { JSX } from "preact";
import type { Able } from "../able.ts";
import { useRemote } from "./context.ts";
import { GaitLeaf } from "./GaitLeaf.tsx";
import { Gate } from "./Gate.tsx";
import { LeanPad } from "./LeanPad.tsx";
import { Outputs } from "./Outputs.tsx";
import { Slider } from "./Slider.tsx";
import { TurnStrip } from "./TurnStrip.tsx";
import { WalkPad } from "./WalkPad.tsx";

type Leaf = "walk" | "lean" | "gait" | "lamps";

/**
 * What the hands do, in leaves: walk, lean, and what is set less often. Where there is room, gait and lamps lie under
 * the pads all the time, and their tabs are not needed.
 */
export function DriveCard(): JSX.Element {
  const remote = useRemote();
  const leaf = useSignal<Leaf>("walk");
  const may = remote.mayDrive.value;
  const commands = remote.mayCommand.value.able;
  const outputs = remote.robot.value?.outputs ?? [];
  const leaves: [Leaf, string][] = [
    ["walk", "Walk"],
    ["lean", "Lean"],
    ["gait", "Gait"],
  ];
  if (outputs.length > 0) leaves.push(["lamps", outputs.some(({ kind }) => kind === "lamp") ? "Lamps" : "Sounds"]);
  const pads = leaf.value === "lean" ? <LeanHands may={may} /> : <WalkHands may={may} commands={commands} />;
  return (
    <div class={`drive on-${leaf.value}`}>
      <div class="leaves" role="group" aria-label="What to do with it">
        {leaves.map(([id, name]) => (
          <button
            key={id}
            type="button"
            class={`leaf for-${id}`}
            aria-pressed={leaf.value === id}
            onClick={() => {
              leaf.value = id;
            }}
          >
            {name}
          </button>
        ))}
      </div>
      <div class="hands">{pads}</div>
      <GaitLeaf able={commands} />
      <Outputs able={commands} />
      <Keys gaits={remote.robot.value?.gaits.length ?? 1} />
    </div>
  );
}

/** Walking: how fast, which way, how high the body is carried, and turning. */
function WalkHands({ may, commands }: { may: Able; commands: boolean }): JSX.Element {
  const remote = useRemote();
  const percent = Math.round(remote.pace.value.value * 100);
  return (
    <>
      <div class="drive-row">
        <Slider
          label="Pace"
          upright
          min={10}
          max={100}
          step={5}
          value={percent}
          shown={`${percent} %`}
          disabled={!commands}
          onValue={(share) => remote.setPace(share / 100)}
        />
        <div class="drive-middle">
          <WalkPad />
          <Gate may={may} />
        </div>
        <Height able={may.able} />
      </div>
      <TurnStrip />
    </>
  );
}

/** Leaning: the body over feet that stay, or while it walks; what is set here stays set. */
function LeanHands({ may }: { may: Able }): JSX.Element {
  const remote = useRemote();
  const { roll_deg, pitch_deg, yaw_deg } = remote.posture.value.value;
  const most = Math.floor(remote.robot.value?.lean_range_deg[2] ?? 0);
  const twist = Math.round(yaw_deg);
  return (
    <>
      <div class="drive-row">
        <div class="lean-figures">
          <button
            type="button"
            class="level"
            disabled={!may.able || (roll_deg === 0 && pitch_deg === 0 && yaw_deg === 0)}
            onClick={() => remote.carry({ roll_deg: 0, pitch_deg: 0, yaw_deg: 0 })}
          >
            Level
          </button>
          <p class="small" aria-hidden="true">
            {signed(pitch_deg)}°<br />
            nose
          </p>
          <p class="small" aria-hidden="true">
            {signed(roll_deg)}°<br />
            side
          </p>
        </div>
        <div class="drive-middle">
          <LeanPad />
          <Gate may={may} />
        </div>
        <Height able={may.able} />
      </div>
      <div class="twist">
        <Slider
          label="Twist"
          min={-most}
          max={most}
          step={1}
          // To the left on the screen is to the robot's left, which is positive.
          value={-twist}
          home={0}
          shown={twist === 0 ? "none" : `${Math.abs(twist)}° ${twist > 0 ? "left" : "right"}`}
          disabled={!may.able}
          onValue={(degrees) => remote.carry({ yaw_deg: -degrees + 0 })}
        />
      </div>
    </>
  );
}

function Height({ able }: { able: boolean }): JSX.Element {
  const remote = useRemote();
  // Whole millimetres within what the robot can carry.
  const range = useComputed(() => {
    const [low, high] = remote.robot.value?.height_range_mm ?? [0, 0];
    return [Math.min(0, Math.ceil(low)), Math.max(0, Math.floor(high))] as const;
  });
  const [low, high] = range.value;
  const height = Math.round(remote.posture.value.value.height_mm);
  return (
    <Slider
      label="Height"
      upright
      min={low}
      max={high}
      step={1}
      value={height}
      home={0}
      shown={`${signed(height)} mm`}
      disabled={!able}
      onValue={(mm) => remote.carry({ height_mm: mm })}
    />
  );
}

const KEYS: readonly (readonly [string, string])[] = [
  ["WASD", "or arrows: walk"],
  ["QE", "turn"],
  ["IJKL", "lean"],
  ["UO", "twist"],
  ["N", "level"],
  ["RF", "up, down"],
];

function Keys({ gaits }: { gaits: number }): JSX.Element {
  return (
    <details class="keys">
      <summary>By keyboard</summary>
      <p>
        {KEYS.map(([keys, words]) => (
          <span key={keys}>
            {[...keys].map((key) => (
              <kbd key={key}>{key}</kbd>
            ))}{" "}
            {words},{" "}
          </span>
        ))}
        <kbd>1</kbd> to <kbd>{gaits}</kbd> gait, <kbd>Space</kbd> or <kbd>Esc</kbd> stop.
      </p>
    </details>
  );
}

function signed(value: number): string {
  const whole = Math.round(value);
  return `${whole > 0 ? "+" : whole < 0 ? "−" : ""}${Math.abs(whole)}`;
}
