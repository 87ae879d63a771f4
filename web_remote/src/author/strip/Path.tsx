import type { JSX } from "preact";
import { useMemo } from "preact/hooks";
import { useMaker } from "../context.ts";
import type { Preview } from "../preview.ts";
import { stripOf } from "./state.ts";

const POINTS = 400;
/** Around a path that is no path, so much ground is shown. */
const LEAST_MM = 500;

/** Where the body goes over the ground, seen from above; forward at the start is up. */
export function Path(): JSX.Element {
  const maker = useMaker();
  const strip = stripOf(maker);
  const [preview, house] = [maker.preview.value, maker.house.value];
  // Worked out when the move has changed, not for each picture of it.
  const { rows, points, drawn } = useMemo(() => {
    const own = preview ? spread(preview.frames) : [];
    const places = preview ? own.map((row) => placeOf(preview, row)) : [];
    return { rows: own, points: places, drawn: line(places) };
  }, [preview]);
  if (!preview || !house || preview.frames === 0) return <p class="small strip-tools">There is a path as soon as the hub has said how the move goes.</p>;
  const [xs, ys] = [points.map(([x]) => x), points.map(([, y]) => y)];
  const middle = [mid(xs), mid(ys)] as const;
  const wide = Math.max(LEAST_MM, span(xs) * 1.2, span(ys) * 1.2);
  const now = placeOf(preview, Math.min(preview.frames - 1, Math.round((maker.player.at.value / 1000) * preview.rate_hz)));
  const item = strip.active.value.row === "walks" ? strip.item() : undefined;
  const frameOf = (ms: number): number => (ms / 1000) * preview.rate_hz;
  const own = item ? rows.filter((row) => row >= frameOf(item.ms) && row <= frameOf(item.to)).map((row) => placeOf(preview, row)) : [];
  const end = placeOf(preview, preview.frames - 1);
  const start = points[0] as Place;
  const bar = [50, 100, 200, 500, 1000, 2000, 5000].find((mm) => mm > wide / 6) ?? 5000;
  const thick = wide / 90;
  const [length, width] = house.robot.body_size_mm;
  const far = Math.hypot(end[0] - start[0], end[1] - start[1]);
  const turned = Math.round(end[2] - start[2]);
  const words = `It ends ${Math.round(far)} mm from where it began${turned === 0 ? "" : `, turned ${Math.abs(turned)}° to the ${turned > 0 ? "left" : "right"}`}.`;
  return (
    <div class="strip-path">
      <svg viewBox={`${-middle[1] - wide} ${-middle[0] - wide / 2} ${2 * wide} ${wide}`} role="img" aria-label={`The path on the ground from above. ${words}`}>
        <path class="path-line" d={drawn} stroke-width={thick} />
        {own.length > 1 && <path class="path-own" d={line(own)} stroke-width={2.4 * thick} />}
        <circle class="path-start" cx={-start[1]} cy={-start[0]} r={2.2 * thick} stroke-width={thick} />
        <g transform={`translate(${-now[1]} ${-now[0]}) rotate(${-now[2]})`}>
          <rect class="path-body" x={-width / 2} y={-length / 2} width={width} height={length} rx={width / 4} stroke-width={thick} />
          <path class="path-nose" d={`M${-width / 4} ${-length / 4}l${width / 4} ${-length / 6}l${width / 4} ${length / 6}`} stroke-width={thick} />
        </g>
        <path class="path-bar" d={`M${-middle[1] - wide * 0.95} ${-middle[0] + wide * 0.44}h${bar}`} stroke-width={thick} />
        <text x={-middle[1] - wide * 0.95} y={-middle[0] + wide * 0.41} font-size={wide / 15}>
          {bar < 1000 ? `${bar} mm` : `${bar / 1000} m`}
        </text>
      </svg>
      <p class="small">{words}</p>
    </div>
  );
}

type Place = readonly [x: number, y: number, yaw_deg: number];

function placeOf(preview: Preview, row: number): Place {
  return [preview.body[row * 6] ?? 0, preview.body[row * 6 + 1] ?? 0, preview.body[row * 6 + 5] ?? 0];
}

function spread(frames: number): number[] {
  const count = Math.min(frames, POINTS);
  return Array.from({ length: count }, (_, i) => Math.round((i * (frames - 1)) / Math.max(1, count - 1)));
}

function line(points: readonly Place[]): string {
  return `M${points.map(([x, y]) => `${(-y).toFixed(1)} ${(-x).toFixed(1)}`).join("L")}`;
}

const span = (values: readonly number[]): number => Math.max(...values) - Math.min(...values);
const mid = (values: readonly number[]): number => (Math.max(...values) + Math.min(...values)) / 2;
