/**
 * Turns performed drives into moves with the editor's own code, for tests/author/test_performed.py to walk them. Reads
 * `{house, drives: [[{ms, course}]], error}`, prints one JSON line with a document for each.
 */

import { readFileSync } from "node:fs";
import { fresh } from "../src/author/document.ts";
import { type Course, possible, walksOf, withPerformance } from "../src/author/posing/performance.ts";
import { type House, sheetOf } from "../src/author/sheet.ts";

interface Task {
  house: House;
  drives: { ms: number; course: Course }[][];
  error: number;
}

const { house, drives, error } = JSON.parse(readFileSync(0, "utf8")) as Task;
const { cycle_ms, gaits } = house.maker;
const answers = drives.map((drive) => {
  const samples = drive.map(({ ms, course }) => ({ ms, pose: {}, course: possible(course, gaits[0]) }));
  const walks = walksOf(samples, 0, samples.at(-1)?.ms ?? 0, error, cycle_ms);
  return { doc: withPerformance(sheetOf(fresh("drive")), [], 0, house, walks), driven: samples.map(({ ms, course }) => ({ ms, ...course })) };
});
process.stdout.write(`${JSON.stringify(answers)}\n`);
