/**
 * Works out joints with the remote's own kinematics, for tests/author/test_reach.py to compare with the hub's. Reads
 * `{house, places: [{body, feet}], moves: [{doc, times_ms}]}`, prints one JSON line with the answers.
 */

import { readFileSync } from "node:fs";
import type { Pose, SequenceFile } from "../src/author/document.ts";
import { type Body, footOffsets, jointsFor, legAngles } from "../src/author/reach.ts";
import type { House } from "../src/author/sheet.ts";
import { jointsAt, tracksOf } from "../src/author/tracks.ts";
import type { Vec3 } from "../src/kinematics.ts";

interface Task {
  house: House;
  places: { body: Body; feet: Vec3[] }[];
  feet: { leg: number; at: Vec3 }[];
  moves: { doc: SequenceFile; times_ms: number[]; poses: Record<string, Pose> }[];
}

const { house, places, feet, moves } = JSON.parse(readFileSync(0, "utf8")) as Task;
const answers = {
  places: places.map(({ body, feet: wanted }) => {
    const { joints_deg, misses_mm } = jointsFor(house, body, wanted);
    return { joints_deg, misses_mm, offsets: footOffsets(house, joints_deg, body) };
  }),
  feet: feet.map(({ leg, at }) => {
    const range = [house.maker.low_deg[3 * leg] as number, house.maker.high_deg[3 * leg] as number] as const;
    return legAngles(house.robot.legs[leg] as never, at, range);
  }),
  moves: moves.map(({ doc, times_ms }) => {
    const tracks = tracksOf(doc, house);
    return times_ms.map((ms) => jointsAt(tracks, house, ms).joints_deg);
  }),
};
process.stdout.write(`${JSON.stringify(answers)}\n`);
