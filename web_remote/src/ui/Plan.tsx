import type { JSX } from "preact";
import { useMemo } from "preact/hooks";
import { shape, type Vec3 } from "../kinematics.ts";
import type { RobotInfo } from "../messages.gen.ts";
import { settled } from "../settled.ts";
import { useRemote } from "./context.ts";

/** The largest distance of any part from the middle, legs stretched to about where they stand. */
function span(robot: RobotInfo): number {
  const legs = robot.legs.map(({ hip_mm: [x, y], coxa_mm, femur_mm }) => Math.hypot(x, y) + coxa_mm + femur_mm);
  const [length, width] = robot.body_size_mm;
  return Math.max(length / 2, width / 2, ...legs, 1);
}

/**
 * The robot from above, its nose up, drawn in `reach` units about the middle of an SVG. A foot that is
 * down is a full disc; one in the air is an open ring.
 */
export function Plan({ reach }: { reach: number }): JSX.Element | null {
  const { robot: info, state } = useRemote();
  const legs = useMemo(
    () =>
      settled(() => {
        const robot = info.value;
        const now = state.value;
        if (!robot || !now) return [];
        const scale = reach / span(robot);
        const at = ([x, y]: Vec3): string => `${(-y * scale).toFixed(1)} ${(-x * scale).toFixed(1)}`;
        return shape(robot, now.joints_deg).legs.map((points, i) => ({
          path: `M${points.map(at).join("L")}`,
          foot: at(points[3]).split(" "),
          down: now.down[i] ?? false,
        }));
      }),
    [info, state, reach],
  );
  const robot = info.value;
  if (!robot) return null;
  const scale = reach / span(robot);
  const [length, width] = robot.body_size_mm;
  const [x, y] = robot.body_centre_mm;
  const [long, wide] = [length * scale, width * scale];
  return (
    <g class="plan">
      {legs.value.map(({ path, foot: [fx, fy], down }, i) => (
        <g key={robot.legs[i]?.name ?? i}>
          <path d={path} />
          <circle cx={fx} cy={fy} r={down ? 4 : 5} class={down ? "foot down" : "foot up"} />
        </g>
      ))}
      <rect
        class="trunk"
        x={-y * scale - wide / 2}
        y={-x * scale - long / 2}
        width={wide}
        height={long}
        rx={Math.min(wide, long) * 0.32}
      />
      <path class="nose" d={`M-5 ${-x * scale - long / 2 + 11}l5-6 5 6`} />
    </g>
  );
}
