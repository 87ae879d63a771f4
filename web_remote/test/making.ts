/** A house to make moves in: a small six-legged robot with a head and a lamp, invented for the tests. */

import type { House } from "../src/author/sheet.ts";
import type { LegInfo, MakerInfo, Opened, RobotInfo } from "../src/messages.gen.ts";
import { ROBOT } from "./hands.ts";

const PLACES: [string, number, number, number][] = [
  ["lf", 100, 60, 45],
  ["lm", 0, 70, 90],
  ["lr", -100, 60, 135],
  ["rf", 100, -60, -45],
  ["rm", 0, -70, -90],
  ["rr", -100, -60, -135],
];

const legs = PLACES.map(([name, x, y, heading_deg]): LegInfo => ({
  name,
  hip_mm: [x, y, 0],
  heading_deg,
  coxa_mm: 40,
  femur_mm: 80,
  tibia_mm: 150,
  foot_radius_mm: 6,
}));

const joints = [...legs.flatMap(({ name }) => [`${name}.coxa`, `${name}.femur`, `${name}.tibia`]), "head"];

const robot: RobotInfo = { ...ROBOT, name: "Six", joints, legs, rest_height_mm: 90 };

// Knees out at 40 degrees, shins hanging from there: 84 mm below the hip, feet 6 mm above the ground.
const bend = (Math.asin((84 + 80 * Math.sin((40 * Math.PI) / 180)) / 150) * 180) / Math.PI;
const out = 40 + 80 * Math.cos((40 * Math.PI) / 180) + 150 * Math.cos((bend * Math.PI) / 180);

const maker: MakerInfo = {
  low_deg: joints.map((name) => (name.endsWith("tibia") ? -150 : -80)),
  high_deg: joints.map((name) => (name.endsWith("tibia") ? 0 : 80)),
  rest_deg: [...legs.flatMap(() => [0, 40, -40 - bend]), 0],
  rest_feet_mm: PLACES.map(([, x, y, heading]) => [
    x + out * Math.cos((heading * Math.PI) / 180),
    y + out * Math.sin((heading * Math.PI) / 180),
    6,
  ]),
  gaits: [{ name: "tripod", forward_mm_s: 90, left_mm_s: 90, turn_deg_s: 25 }],
  cycle_ms: 1200,
  lift_mm: 25,
  margin_mm: 10,
  regulator_a: 10,
};

export const HOUSE: House = { robot, maker, poses: { ready: { body: { z_mm: 7 }, joints_deg: { head: 3 } } } };

export function opened(some: Partial<Opened> = {}): Opened {
  return {
    type: "opened",
    name: "bow",
    text: "",
    version: "",
    shipped: false,
    drafts: [],
    others: [],
    maker,
    poses: JSON.stringify(HOUSE.poses),
    sounds: [],
    sound_path: "/sounds-x",
    ...some,
  };
}
