/** From a touch on the leaning pad, or from keys, to how the body is carried. Nose down is a positive pitch, the right side
 * down a positive roll, to the left a positive yaw (ROS REP 103). */

import type { RobotInfo } from "./messages.gen.ts";
import type { Carried } from "./remote.ts";

/** Within this share of the pad's radius the body is level. */
const LEVEL = 0.08;
/** At this share it leans as far as it can, so that the rim need not be hit. */
const FULL = 0.9;
/** One press of a key. */
const STEP_DEG = 1;

export interface Leaning {
  roll_deg: number;
  pitch_deg: number;
}

type Range = Pick<RobotInfo, "lean_range_deg">;

/** A touch `x` to the right and `y` down from the pad's middle, in its radius: the body leans towards it. */
export function leanTowards(x: number, y: number, { lean_range_deg: [roll, pitch] }: Range): Leaning {
  const far = Math.hypot(x, y);
  const share = Math.min(1, Math.max(0, (far - LEVEL) / (FULL - LEVEL)));
  if (share === 0) return { roll_deg: 0, pitch_deg: 0 };
  return { roll_deg: tenths((x / far) * share * roll), pitch_deg: tenths((-y / far) * share * pitch) };
}

/** Where on the pad, in its radius, a body leans that is carried like this. */
export function leansTo({ roll_deg, pitch_deg }: Leaning, { lean_range_deg: [roll, pitch] }: Range): [number, number] {
  const [x, y] = [roll_deg / Math.max(roll, 0.1), -pitch_deg / Math.max(pitch, 0.1)];
  const far = Math.max(1, Math.hypot(x, y));
  return [x / far, y / far];
}

/** Physical keys that carry the body otherwise, by their place; held down they go on. */
const KEYS: Readonly<Record<string, Partial<Carried>>> = {
  KeyI: { pitch_deg: STEP_DEG },
  KeyK: { pitch_deg: -STEP_DEG },
  KeyJ: { roll_deg: -STEP_DEG },
  KeyL: { roll_deg: STEP_DEG },
  KeyU: { yaw_deg: STEP_DEG },
  KeyO: { yaw_deg: -STEP_DEG },
  KeyR: { height_mm: 2 },
  KeyF: { height_mm: -2 },
};

/** As it is carried after this key; null for keys that are not for that. */
export function carriedOn(code: string, now: Carried, robot: Range & Pick<RobotInfo, "height_range_mm">): Carried | null {
  if (code === "KeyN") return { ...now, roll_deg: 0, pitch_deg: 0, yaw_deg: 0 };
  const by = KEYS[code];
  if (!by) return null;
  const [roll, pitch, yaw] = robot.lean_range_deg;
  const [low, high] = robot.height_range_mm;
  const moved = (name: keyof Carried, least: number, most: number): number =>
    Math.min(most, Math.max(least, now[name] + (by[name] ?? 0)));
  return {
    height_mm: moved("height_mm", low, high),
    roll_deg: moved("roll_deg", -roll, roll),
    pitch_deg: moved("pitch_deg", -pitch, pitch),
    yaw_deg: moved("yaw_deg", -yaw, yaw),
  };
}

function tenths(degrees: number): number {
  return Math.round(degrees * 10) / 10 + 0;
}
