/** What this browser may do right now, and if not, why: one line for the one who wants to do it. */

import type { Connection } from "./link.ts";
import type { State, Welcome } from "./messages.gen.ts";

export interface Situation {
  connection: Connection;
  welcome: Pick<Welcome, "role" | "you"> | null;
  state: State | null;
}

export type Able = { able: true } | { able: false; why: string; offerTake: boolean };

const YES: Able = { able: true };
const no = (why: string, offerTake = false): Able => ({ able: false, why, offerTake });

export function inControl({ welcome, state }: Situation): boolean {
  return welcome !== null && state?.driver?.id === welcome.you;
}

/** Whether commands would be taken from here at all. */
export function mayCommand(situation: Situation): Able {
  const { connection, welcome, state } = situation;
  if (connection.phase !== "live" || !welcome || !state) return no("The hub is out of reach.");
  if (welcome.role === "watcher") return no("This device is paired to watch. Stop still works.");
  if (inControl(situation)) return YES;
  if (state.driver) return no(`${state.driver.name || "Someone else"} is driving.`);
  return no("Nobody is driving.", true);
}

const HELD: Partial<Record<State["mode"], string>> = {
  stopping: "It is coming to rest.",
  stopped: "It is stopped. Lift the stop first.",
  limp: "It is limp. Stand it up first.",
  fault: "It halted by a fault. Clear that first.",
  setup: "It is being brought up. Leave that first.",
  halted: "It is stopped. Lift the stop first.",
};

/** Whether a move or a recording can be started. */
export function mayPlay(situation: Situation): Able {
  const may = mayCommand(situation);
  if (!may.able || !situation.state) return may;
  const { mode, link } = situation.state;
  if (!link.up) return no("The hub has lost the robot.");
  const held = HELD[mode];
  return held ? no(held) : YES;
}

/** Whether the pad and the strip walk it. */
export function mayDrive(situation: Situation): Able {
  const may = mayPlay(situation);
  if (!may.able || !situation.state) return may;
  const { mode } = situation.state;
  if (mode === "playing" || mode === "waiting") return no("A move is playing. Stop it to walk.");
  if (mode === "moving") return no("It is stepping into place.");
  return YES;
}

/** The bar at the bottom: what it does now. */
export type Bar =
  | { does: "stop" }
  /** Held, it lifts the stop, stands up from limp, or tries again after a fault. */
  | { does: "lift"; from: Latched; takes: boolean }
  /** Stopped, but this browser may not lift it. */
  | { does: "wait"; from: Latched; why: string };

/** Modes that last until somebody lifts them. */
export type Latched = "stopped" | "limp" | "fault" | "halted";

export function bar(situation: Situation): Bar {
  const { connection, state } = situation;
  if (connection.phase !== "live" || !state) return { does: "stop" };
  const { mode } = state;
  if (mode !== "stopped" && mode !== "limp" && mode !== "fault" && mode !== "halted") return { does: "stop" };
  const may = mayCommand(situation);
  if (may.able) return { does: "lift", from: mode, takes: false };
  if (may.offerTake) return { does: "lift", from: mode, takes: true };
  return { does: "wait", from: mode, why: may.why };
}
