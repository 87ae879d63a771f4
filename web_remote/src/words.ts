/** What is shown, in words: one place, so that every card says the same. */

import type { Connection } from "./link.ts";
import type { BatteryState, Driver, Mode, MoveInfo, State } from "./messages.gen.ts";

/** A document's name as people read it. */
export function plainName(name: string): string {
  return name.replace(/[_-]+/g, " ").trim();
}

/** `0:07`, `12:30`: for counting up. */
export function clockTime(seconds: number): string {
  const whole = Math.max(0, Math.floor(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/** `7.5 s`, `2 min 5 s`: how long something takes. */
export function lasts(seconds: number): string {
  if (seconds < 59.95) return `${seconds.toFixed(seconds < 9.95 ? 1 : 0)} s`;
  const whole = Math.round(seconds);
  const rest = whole % 60;
  return `${Math.floor(whole / 60)} min${rest ? ` ${rest} s` : ""}`;
}

/** `27 Mar, 14:32` in the device's own language, from ISO 8601. */
export function when(iso: string): string {
  const date = new Date(iso);
  if (Number.isNaN(date.getTime())) return iso;
  return date.toLocaleString(undefined, { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
}

/** What the robot is about, as a stage direction. */
export function modeWords(state: Pick<State, "mode" | "playing" | "walking">): string {
  const name = state.playing ? plainName(state.playing.name) : "";
  const words: Record<Mode, string> = {
    rest: "Standing, ready.",
    moving: name ? `Stepping into place for ${name}.` : "Stepping into place.",
    playing: name ? `Playing ${name}.` : "Playing.",
    waiting: name ? `${capital(name)} waits for your word.` : "Waits for your word.",
    driving: state.walking ? "Walking." : "Shifting its body.",
    stopping: "Coming to rest.",
    stopped: "Stopped, and holding.",
    limp: "Limp: its servos are off.",
    fault: "Halted by a fault.",
    setup: "Being brought up.",
    halted: "Stopped in its bring-up; what has a pulse holds.",
  };
  return words[state.mode];
}

/** Why it does less than it is asked to: short enough for two lines on a small phone, after the mode. */
export function limitWords(limit: State["limit"]): string {
  const words: Record<State["limit"], string> = {
    "": "",
    reach: "No faster: its steps are as long as they get.",
    speed: "No faster: its servos turn no quicker.",
    torque: "No faster: its servos are no stronger.",
    current: "No faster: the regulator gives no more current.",
    voltage: "No faster: the voltage would sag too far.",
    margin: "No faster: it would lose its balance.",
    acceleration: "No faster: it could not stop in time.",
    posture: "Its legs carry the body no further.",
    none: "Its legs cannot step like that.",
  };
  return words[limit];
}

export function capital(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/** With a capital and a full stop, so that a reason from elsewhere reads like a sentence; `sway.json:` stays. */
export function sentence(text: string): string {
  const bare = text.trim();
  const trimmed = /^[a-z]+[\s,]/.test(bare) ? capital(bare) : bare;
  return trimmed === "" || /[.!?…]$/.test(trimmed) ? trimmed : `${trimmed}.`;
}

/** The link as the status line shows it: one word and a shape. */
export interface LinkWords {
  word: string;
  full: string;
  up: boolean;
  /** The radio does not carry every frame. */
  thin?: true;
}

export function linkWords(connection: Connection, state: Pick<State, "link"> | null): LinkWords {
  switch (connection.phase) {
    case "connecting":
      return { word: "Joining", full: "Connecting to the hub", up: false };
    case "quiet":
      return { word: "No hub", full: "No word from the hub", up: false };
    case "lost":
    case "unpaired":
      return { word: "No hub", full: "The hub is out of reach", up: false };
    case "live":
      if (!state) return { word: "Joining", full: "Waiting for the first state", up: false };
      if (state.link.up && state.link.thinned) {
        const full = "Hub and robot are linked; the radio is too slow for this motion, and every second frame is left out";
        return { word: "Slow link", full, up: true, thin: true };
      }
      return state.link.up
        ? { word: "Linked", full: "Hub and robot are linked", up: true }
        : { word: "No robot", full: "The hub has lost the robot", up: false };
  }
}

/** How frames go over the radio, in the words of a figure. */
export function frameWords({ together, thinned }: Pick<State["link"], "together" | "thinned">): string {
  const company = together > 1 ? `${together} to a packet` : "one by one";
  return thinned ? `every second one, ${company}` : `all, ${company}`;
}

/** The sentence for a broken link, or nothing while all is well. */
export function outage(connection: Connection, state: Pick<State, "link"> | null): { title: string; text: string } | null {
  switch (connection.phase) {
    case "quiet":
      return { title: "No word from the hub", text: "This screen is out of date, and nothing pressed here may arrive." };
    case "lost":
      return { title: "The hub is out of reach", text: `${connection.why} Trying again.` };
    case "live":
      return state && !state.link.up
        ? { title: "The hub has lost the robot", text: "Nothing pressed here reaches it until the link is back." }
        : null;
    default:
      return null;
  }
}

/** The hub's own words about the battery, so that every screen says the same. */
export function batteryWords(battery: BatteryState | null): { volts: string; full: string } {
  const volts = battery?.volts ?? null;
  return { volts: volts === null ? "– V" : `${volts.toFixed(1)} V`, full: battery?.words ?? "Battery not read yet" };
}

export function driverWords(driver: Driver | null, you: string): { word: string; full: string } {
  if (!driver) return { word: "Nobody", full: "Nobody drives" };
  if (driver.id === you) return { word: "You", full: "You drive" };
  const name = driver.name || "Someone else";
  return { word: name, full: `${name} drives` };
}

export type Mark = "tick" | "wave" | "cross" | "torn" | "dots";

/** A verdict as a word and the shape of a pencil mark. */
export function verdictWords(verdict: MoveInfo["verdict"]): { word: string; mark: Mark } {
  switch (verdict) {
    case "fits":
      return { word: "Fits", mark: "tick" };
    case "warns":
      return { word: "Fits, with care", mark: "wave" };
    case "fails":
      return { word: "Does not fit", mark: "cross" };
    case "unreadable":
      return { word: "Cannot be read", mark: "torn" };
    case "checking":
      return { word: "Being checked", mark: "dots" };
  }
}
