import { useComputed, useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useEffect } from "preact/hooks";
import { BEHIND_MS } from "../asked.ts";
import type { OutputInfo } from "../messages.gen.ts";
import { capital, plainName } from "../words.ts";
import { useRemote } from "./context.ts";
import { Slider } from "./Slider.tsx";
import { useHeld } from "./touch.ts";

/** Lamps by a slider, sounders while held. */
export function Outputs({ able }: { able: boolean }): JSX.Element | null {
  const { robot } = useRemote();
  const outputs = robot.value?.outputs ?? [];
  if (outputs.length === 0) return null;
  return (
    <div class="outputs" role="group" aria-label="Lamps and sounds">
      {outputs.map((output, i) =>
        output.kind === "lamp" ? (
          <Lamp key={output.name} output={output} index={i} able={able} />
        ) : (
          <Sounder key={output.name} output={output} able={able} />
        ),
      )}
    </div>
  );
}

function Lamp({ output, index, able }: { output: OutputInfo; index: number; able: boolean }): JSX.Element {
  const remote = useRemote();
  const set = useSignal<number | null>(null);
  const level = useComputed(() => Math.round((set.value ?? remote.state.value?.outputs[index] ?? 0) * 100));
  useEffect(() => {
    if (set.value === null) return;
    const timer = setTimeout(() => {
      set.value = null;
    }, BEHIND_MS);
    return () => clearTimeout(timer);
  }, [set.value]);
  return (
    <Slider
      label={capital(plainName(output.name))}
      min={0}
      max={100}
      step={5}
      value={level.value}
      shown={level.value === 0 ? "off" : `${level.value} %`}
      disabled={!able}
      onValue={(percent) => {
        set.value = percent / 100;
        remote.setOutput(output.name, percent / 100);
      }}
    />
  );
}

function Sounder({ output, able }: { output: OutputInfo; able: boolean }): JSX.Element {
  const remote = useRemote();
  const on = useSignal(false);
  const sound = (now: boolean): void => {
    if (on.value === now) return;
    on.value = now;
    remote.setOutput(output.name, now ? 1 : 0);
  };
  const held = useHeld<HTMLButtonElement>(able, (touch) => sound(touch !== null));
  return (
    <button
      type="button"
      class={on.value ? "sounder on" : "sounder"}
      disabled={!able}
      aria-pressed={on.value}
      {...held}
      onKeyDown={(event) => event.key === "Enter" && sound(true)}
      onKeyUp={(event) => event.key === "Enter" && sound(false)}
      onBlur={() => sound(false)}
    >
      <svg class="mark" viewBox="0 0 20 20" aria-hidden="true">
        <path d="M3.5 8v4h3l4 3.5V4.5L6.5 8z" />
        <path d={on.value ? "M13 7c1.5 1.5 1.5 4.5 0 6M15.5 4.5c3.5 3 3.5 8 0 11" : "M13.5 7.5c1 1.3 1 3.7 0 5"} />
      </svg>
      {capital(plainName(output.name))}
      <span class="unseen">, sounds while held</span>
    </button>
  );
}
