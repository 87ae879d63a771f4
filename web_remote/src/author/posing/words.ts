/** The robot's parts as people say them. */

import { plainName } from "../../words.ts";
import type { Lane } from "../document.ts";

/** `leg:left_front` as "left front". */
export function partWords(part: Lane): string {
  return plainName(part.slice(part.indexOf(":") + 1));
}

/** `left_front.femur` as "left front femur". */
export function jointWords(name: string): string {
  return plainName(name.replace(".", " "));
}
