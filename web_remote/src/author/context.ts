import { createContext } from "preact";
import { useContext } from "preact/hooks";
import type { Maker } from "./client.ts";

export const MakerContext = createContext<Maker | null>(null);

/** The move in the making; only inside the place for it. */
export function useMaker(): Maker {
  const maker = useContext(MakerContext);
  if (!maker) throw new Error("a part of the workshop outside of it");
  return maker;
}
