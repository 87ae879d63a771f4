import { useComputed, useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useEffect } from "preact/hooks";
import { RecordMark } from "../../ui/Marks.tsx";
import { Slider } from "../../ui/Slider.tsx";
import { useMaker } from "../context.ts";
import { usePoser } from "./context.ts";
import { Pad } from "./Pad.tsx";
import { STANDS } from "./performance.ts";
import type { Performs } from "./performer.ts";

/** Of the hand, in mm and degrees, until another error is asked for. */
const WITHIN = 2;

/** How long it has been recorded, and the way to end it: in sight whichever part is moved. */
export function Performing(): JSX.Element | null {
  const { performer } = usePoser();
  const show = performer.shows.value;
  if (show?.phase !== "running") return null;
  return (
    <div class="pose-running">
      <p class="running-time">
        <RecordMark on={false} />
        Performing <b>{(show.length_ms / 1000).toFixed(1)} s</b>
      </p>
      <button type="button" class="primary" onClick={() => performer.done(WITHIN)}>
        Done
      </button>
    </div>
  );
}

/** Where there is little room it would come up below the edge. */
const inSight = (element: HTMLElement | null): void => element?.scrollIntoView({ block: "nearest" });

/** By hand into the move: what pads, beads and sliders do from now on is recorded, trimmed, and becomes a few keys. */
export function Perform(): JSX.Element {
  const { performer } = usePoser();
  const show = performer.shows.value;
  const [from, to, error] = [useSignal(0), useSignal(0), useSignal(WITHIN)];
  const length = show?.phase === "done" ? Math.round(show.length_ms) : 0;
  useEffect(() => {
    [from.value, to.value] = [0, length];
  }, [length, from, to]);
  if (show === null) {
    return (
      <button type="button" class="big" onClick={() => performer.begin()}>
        <RecordMark on={false} />
        Perform from here
      </button>
    );
  }
  if (show.phase === "running") {
    return (
      <div class="pose-perform" role="group" aria-label="Performing" ref={inSight}>
        <p class="small">Move the body, the feet or the head, or drive it here; it is recorded as you do.</p>
        <Course />
      </div>
    );
  }
  const again = (): void => performer.trim(from.value, to.value, error.value);
  const seconds = (ms: number): string => `${(ms / 1000).toFixed(1)} s`;
  return (
    <div class="pose-perform" role="group" aria-label="What was performed">
      <p role="status">
        {said(show, seconds(to.value - from.value), error.value)}
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
        <button type="button" class="primary" disabled={show.keys + show.walks === 0} onClick={() => performer.keep()}>
          Keep it
        </button>
        <button type="button" onClick={() => performer.drop()}>
          Throw it away
        </button>
      </div>
    </div>
  );
}

function said({ keys, walks }: Performs, long: string, error: number): string {
  const parts = [
    ...(keys > 0 ? [`${keys} keys for ${long}, within ${error} mm and degrees of your hand`] : []),
    ...(walks > 0 ? [`${walks} ${walks === 1 ? "stretch" : "stretches"} of walking, within ${error} mm and degrees of the way that you drove`] : []),
  ];
  return parts.length > 0 ? `${parts.join("; ")}.` : "Nothing was moved.";
}

/** Drives the move and not the robot: a finger that lifts ends the walking; what the sliders say goes on until they are set back. */
function Course(): JSX.Element {
  const maker = useMaker();
  const { performer } = usePoser();
  const gait = maker.house.value?.maker.gaits[0];
  const [most, aside, spin] = [gait?.forward_mm_s ?? 60, gait?.left_mm_s ?? 60, gait?.turn_deg_s ?? 20].map(Math.floor) as [number, number, number];
  const { course } = performer;
  const right = useComputed(() => -course.value.left_mm_s);
  const up = useComputed(() => course.value.forward_mm_s);
  const { forward_mm_s, left_mm_s, turn_deg_s } = course.value;
  const set = (part: Partial<typeof STANDS>): void => {
    course.value = { ...course.peek(), ...part };
  };
  return (
    <div class="pose-course">
      <Pad
        label="Drive"
        reach={most}
        right={right}
        up={up}
        springs
        move={(r, u) => {
          const far = Math.max(1, Math.hypot(r / aside, u / most));
          set({ forward_mm_s: Math.round(u / far), left_mm_s: Math.round(-r / far) });
          return { at: null, ends: far > 1 };
        }}
      />
      <div>
        <Slider label="Forward" min={-most} max={most} step={5} value={forward_mm_s} shown={`${forward_mm_s} mm/s`} home={0} onValue={(mm) => set({ forward_mm_s: mm })} />
        <Slider label="Left" min={-aside} max={aside} step={5} value={left_mm_s} shown={`${left_mm_s} mm/s`} home={0} onValue={(mm) => set({ left_mm_s: mm })} />
        <Slider label="Turn left" min={-spin} max={spin} step={1} value={turn_deg_s} shown={`${turn_deg_s} °/s`} home={0} onValue={(deg) => set({ turn_deg_s: deg })} />
        <button type="button" onClick={() => set(STANDS)}>
          Stand
        </button>
      </div>
    </div>
  );
}
