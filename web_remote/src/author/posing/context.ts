import { useMaker } from "../context.ts";
import { type Poser, poserOf } from "./poser.ts";

/** The hand that poses the move in the making. */
export function usePoser(): Poser {
  return poserOf(useMaker());
}
