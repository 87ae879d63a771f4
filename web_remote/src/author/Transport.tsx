import { useComputed, useSignalEffect } from "@preact/signals";
import type { JSX } from "preact";
import { useMaker } from "./context.ts";
import { stripOf } from "./strip/state.ts";
import { FRAME_MS, saidTime } from "./strip/view.ts";
import { VerdictLine } from "./Verdict.tsx";

const SPEEDS: readonly (readonly [number, string])[] = [
  [1, "as it is"],
  [0.5, "half as fast"],
  [0.25, "a quarter"],
  [0.1, "a tenth"],
];

/** Through the move without the robot: on, frame by frame, slowly, over and over. */
export function Transport(): JSX.Element {
  const maker = useMaker();
  const strip = stripOf(maker);
  const { player } = maker;
  // Signals, which change the page where they stand: the rest is not drawn anew for every picture of a preview.
  const now = useComputed(() => (maker.doc.value ? saidTime(maker.doc.value, player.at.value) : ""));
  const at = useComputed(() => Math.round(player.at.value));
  const findings = strip.findings.value;
  const worst = findings.some(({ severity }) => severity === "error") ? findings.findIndex(({ severity }) => severity === "error") : Math.min(0, findings.length - 1);
  useSignalEffect(() => {
    // What is looped is what is chosen, or all.
    player.loop.value = strip.looping.value ? (strip.view.range.value ?? [0, maker.lengthMs.value]) : null;
  });
  return (
    <div class="strip-transport" role="group" aria-label="Looking at it">
      <button type="button" class="primary strip-play" onClick={() => player.toggle()}>
        {player.playing.value ? "Hold" : "Play"}
      </button>
      <button type="button" class="strip-step" aria-label="One frame back" onClick={() => player.step(-1, 1000 / FRAME_MS)}>
        <svg viewBox="0 0 20 20" class="mark" aria-hidden="true">
          <path d="M12 4 6 10l6 6M15.5 4v12" />
        </svg>
      </button>
      <button type="button" class="strip-step" aria-label="One frame on" onClick={() => player.step(1, 1000 / FRAME_MS)}>
        <svg viewBox="0 0 20 20" class="mark" aria-hidden="true">
          <path d="m8 4 6 6-6 6M4.5 4v12" />
        </svg>
      </button>
      <output class="strip-now" data-testid="now">
        {now}
      </output>
      <VerdictLine />
      {worst >= 0 && (
        <button type="button" class="strip-why" onClick={() => strip.lookAt(worst)}>
          Why?
        </button>
      )}
      <input
        type="range"
        aria-label="Time"
        aria-valuetext={now}
        min={0}
        max={Math.round(maker.lengthMs.value)}
        step={FRAME_MS}
        value={at}
        onInput={(event) => {
          player.pause();
          player.seek(event.currentTarget.valueAsNumber);
          strip.view.reveal(player.at.value);
        }}
      />
      <button
        type="button"
        aria-pressed={strip.looping.value}
        class="strip-step strip-loop"
        aria-label="Again and again"
        title="Again and again: what is chosen, or all of it"
        onClick={() => {
          strip.looping.value = !strip.looping.value;
        }}
      >
        <svg viewBox="0 0 20 20" class="mark" aria-hidden="true">
          <path d="M15.5 6.5a6.5 6.5 0 1 0 1 4.5M16 2.5v4.2h-4.2" />
        </svg>
      </button>
      <select
        aria-label="Speed of the preview"
        value={player.speed.value}
        onChange={(event) => {
          player.speed.value = Number(event.currentTarget.value);
        }}
      >
        {SPEEDS.map(([speed, words]) => (
          <option key={speed} value={speed}>
            {words}
          </option>
        ))}
      </select>
    </div>
  );
}
