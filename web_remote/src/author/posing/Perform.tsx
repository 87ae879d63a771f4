import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useEffect } from "preact/hooks";
import { RecordMark } from "../../ui/Marks.tsx";
import { Slider } from "../../ui/Slider.tsx";
import { usePoser } from "./context.ts";

/** By hand into the move: what pads, beads and sliders do from now on is recorded, trimmed, and becomes a few keys. */
export function Perform(): JSX.Element {
  const poser = usePoser();
  const show = poser.performs.value;
  const [from, to, error] = [useSignal(0), useSignal(0), useSignal(2)];
  const length = show?.phase === "done" ? Math.round(show.length_ms) : 0;
  useEffect(() => {
    [from.value, to.value] = [0, length];
  }, [length, from, to]);
  if (show === null) {
    return (
      <button type="button" class="big" onClick={() => poser.perform()}>
        <RecordMark on={false} />
        Perform from here
      </button>
    );
  }
  if (show.phase === "running") {
    return (
      <div class="pose-perform" role="group" aria-label="Performing">
        <p class="running-time">
          <RecordMark on={false} />
          Performing <b>{(show.length_ms / 1000).toFixed(1)} s</b>
        </p>
        <p class="small">Move the body, the feet or the head; it is recorded as you do.</p>
        <button type="button" class="primary" onClick={() => poser.performed(error.value)}>
          Done
        </button>
      </div>
    );
  }
  const again = (): void => poser.trim(from.value, to.value, error.value);
  const seconds = (ms: number): string => `${(ms / 1000).toFixed(1)} s`;
  return (
    <div class="pose-perform" role="group" aria-label="What was performed">
      <p role="status">
        {show.keys > 0 ? `${show.keys} keys for ${seconds(to.value - from.value)}, within ${error.value} mm and degrees of your hand.` : "Nothing was moved."}
      </p>
      <Slider
        label="From"
        min={0}
        max={length}
        step={20}
        value={from.value}
        shown={seconds(from.value)}
        onValue={(ms) => {
          from.value = Math.min(ms, to.value - 40);
          again();
        }}
      />
      <Slider
        label="To"
        min={0}
        max={length}
        step={20}
        value={to.value}
        shown={seconds(to.value)}
        onValue={(ms) => {
          to.value = Math.max(ms, from.value + 40);
          again();
        }}
      />
      <Slider
        label="Within"
        min={0.5}
        max={10}
        step={0.5}
        value={error.value}
        shown={`${error.value} mm and °`}
        onValue={(value) => {
          error.value = value;
          again();
        }}
      />
      <div class="pose-tools">
        <button type="button" class="primary" disabled={show.keys === 0} onClick={() => poser.keepPerformance()}>
          Keep it
        </button>
        <button type="button" onClick={() => poser.dropPerformance()}>
          Throw it away
        </button>
      </div>
    </div>
  );
}
