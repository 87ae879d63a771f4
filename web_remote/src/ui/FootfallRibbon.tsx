import { useComputed } from "@preact/signals";
import type { JSX } from "preact";
import { useEffect, useState } from "preact/hooks";
import { bits, type Run, tracks, twoCycles } from "../footfall.ts";
import { plainName } from "../words.ts";
import { useRemote } from "./context.ts";

/** Drawn 100 units long, whatever the width. */
const LONG = 100;
const ROW = 9;
const SPINE = 5;

/**
 * Which feet were down over the last two cycles: each leg leaves a track behind it, as if the robot went to the right
 * over cloth. A foot that is down is a thread laid along it; one in the air is a stitch that leaps. Nothing is drawn
 * where nobody knows.
 */
export function FootfallRibbon(): JSX.Element | null {
  const { robot, state, connection, footfall } = useRemote();
  const order = useComputed(() => (robot.value ? tracks(robot.value) : { left: [], right: [] }));
  const rows = useComputed(() => {
    const now = state.value;
    if (!now || !robot.value) return [];
    const ticks = twoCycles(now);
    const { left, right } = order.value;
    const spineAt = left.length * ROW + SPINE / 2;
    const live = connection.value.phase === "live";
    return [...left, ...right].map((leg, i) => {
      const middle = i < left.length ? i * ROW + ROW / 2 : spineAt + SPINE / 2 + (i - left.length) * ROW + ROW / 2;
      const y = Math.round(middle * 10) / 10;
      const runs = footfall.runs(leg, ticks);
      return { leg, y, ...threads(runs, ticks, y), now: live ? (runs.at(-1)?.down ?? null) : null };
    });
  });
  const seconds = useComputed(() => (state.value ? ((twoCycles(state.value) * 20) / 1000).toFixed(1) : ""));
  if (rows.value.length === 0) return null;
  const high = rows.value.length * ROW + SPINE;
  const spine = order.value.left.length * ROW + SPINE / 2;
  return (
    <figure class="footfall" style={{ "--rows": rows.value.length }}>
      <ul class="footfall-names" aria-hidden="true">
        {rows.value.map(({ leg }, i) => (
          <li key={leg} class={i === order.value.left.length - 1 ? "over-spine" : undefined}>{plainName(robot.value?.legs[leg]?.name ?? "")}</li>
        ))}
      </ul>
      <svg class="footfall-tracks" viewBox={`0 0 ${LONG} ${high}`} preserveAspectRatio="none" aria-hidden="true">
        <path class="spine" d={`M0 ${spine}H${LONG}`} />
        <path class="cycle" d={`M${LONG / 2} 0V${high}`} />
        {rows.value.map(({ leg, down, up }) => (
          <g key={leg}>
            <path class="leap" d={up} />
            <path class="laid" d={down} />
          </g>
        ))}
      </svg>
      <svg class="footfall-now" viewBox={`0 0 12 ${high}`} aria-hidden="true">
        <path class="nose" d={`M2 ${spine - 3.2}L9 ${spine}L2 ${spine + 3.2}`} />
        {rows.value.map(({ leg, y, now }) => (
          <circle key={leg} class={now === null ? "nobody" : now ? "down" : "up"} cx="4.5" cy={y} r={now ? 3.2 : 2.7} />
        ))}
      </svg>
      <figcaption>
        <span aria-hidden="true">{seconds} s of steps</span>
        <Said />
      </figcaption>
    </figure>
  );
}

/** Threads along the cloth, and stitches that leap, as two paths. */
function threads(runs: readonly Run[], ticks: number, y: number): { down: string; up: string } {
  const at = (ago: number): string => (LONG * (1 - ago / ticks)).toFixed(1);
  let [down, up] = ["", ""];
  for (const { from, to, down: isDown } of runs) {
    if (isDown === null) continue;
    if (isDown) {
      down += `M${at(from)} ${y + 2}H${at(to)}`;
    } else {
      const middle = (LONG * (1 - (from + to) / 2 / ticks)).toFixed(1);
      up += `M${at(from)} ${y + 2}Q${middle} ${y - 8} ${at(to)} ${y + 2}`;
    }
  }
  return { down, up };
}

const SAY_MS = 1500;

/** The same for who does not see it: not announced, and not changed so fast that it cannot be read. */
function Said(): JSX.Element {
  const { robot, state, footfall } = useRemote();
  const words = (): string => {
    const [legs, now] = [robot.peek()?.legs ?? [], state.peek()];
    if (!now) return "";
    const mask = footfall.now;
    if (mask < 0) return "Which feet are down is not known.";
    const down = legs.filter((_, i) => mask & (1 << i)).map(({ name }) => plainName(name));
    const all = bits(mask) === legs.length;
    const fewest = footfall.fewest(twoCycles(now));
    return `Feet down: ${all ? `all ${legs.length}` : `${down.length} of ${legs.length}: ${down.join(", ")}`}. ${
      fewest === null || fewest === legs.length ? "" : `Over the last two cycles never fewer than ${fewest}.`
    }`.trim();
  };
  const [said, say] = useState(words);
  useEffect(() => {
    const timer = setInterval(() => say(words()), SAY_MS);
    return () => clearInterval(timer);
  }, []);
  return (
    <span class="unseen" data-testid="footfall">
      {said}
    </span>
  );
}
