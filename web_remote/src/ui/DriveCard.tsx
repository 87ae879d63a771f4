import { useComputed } from "@preact/signals";
import type { JSX } from "preact";
import { useRemote } from "./context.ts";
import { Gate } from "./Gate.tsx";
import { Outputs } from "./Outputs.tsx";
import { Slider } from "./Slider.tsx";
import { TurnStrip } from "./TurnStrip.tsx";
import { WalkPad } from "./WalkPad.tsx";

export function DriveCard(): JSX.Element {
  const remote = useRemote();
  const { pace, height, robot, mayCommand } = remote;
  // Whole millimetres within what the robot can carry.
  const range = useComputed(() => {
    const [low, high] = robot.value?.height_range_mm ?? [0, 0];
    return [Math.min(0, Math.ceil(low)), Math.max(0, Math.floor(high))] as const;
  });
  const may = remote.mayDrive.value;
  const commands = mayCommand.value.able;
  const [low, high] = range.value;
  return (
    <div class="drive">
      <div class="drive-row">
        <Slider
          label="Pace"
          upright
          min={10}
          max={100}
          step={5}
          value={Math.round(pace.value * 100)}
          shown={`${Math.round(pace.value * 100)} %`}
          disabled={!commands}
          onValue={(percent) => remote.setPace(percent / 100)}
        />
        <div class="drive-middle">
          <WalkPad />
          <Gate may={may} />
        </div>
        <Slider
          label="Height"
          upright
          min={low}
          max={high}
          step={1}
          value={height.value}
          home={0}
          shown={`${height.value > 0 ? "+" : height.value < 0 ? "−" : ""}${Math.abs(height.value)} mm`}
          disabled={!commands}
          onValue={(mm) => remote.setHeight(mm)}
        />
      </div>
      <TurnStrip />
      <Outputs able={commands} />
      <p class="keys">
        <kbd>W</kbd> <kbd>A</kbd> <kbd>S</kbd> <kbd>D</kbd> or arrows walk, <kbd>Q</kbd> <kbd>E</kbd> turn,{" "}
        <kbd>Space</kbd> or <kbd>Esc</kbd> stops.
      </p>
    </div>
  );
}
