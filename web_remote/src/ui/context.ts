import { createContext } from "preact";
import { useContext } from "preact/hooks";
import type { Pairing } from "../pairing.ts";
import type { Remote } from "../remote.ts";

export interface House {
  remote: Remote;
  pairing: Pairing;
  /** Pair again, with this key; null forgets the kept one. */
  pair: (key: string | null) => void;
}

export const HouseContext = createContext<House | null>(null);

export function useHouse(): House {
  const house = useContext(HouseContext);
  if (!house) throw new Error("a card outside the house");
  return house;
}

export function useRemote(): Remote {
  return useHouse().remote;
}
