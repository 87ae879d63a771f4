/** What there is in a move besides keys: stretches of walking, and cues. */

import { BOUNDS } from "./document.gen.ts";
import type { Cue, WalkStretch } from "./document.ts";
import { type House, placedCues, placedWalks, type Sheet, Unable, withCues, withWalks } from "./sheet.ts";

export type WalkFields = Omit<WalkStretch, "from_ms" | "to_ms" | "from_beat" | "to_beat">;
export type CueFields = Omit<Cue, "at_ms" | "at_beat">;

/** By the walk's or the cue's number: what is not there stays as it is. */
export interface WalkChange {
  walk: number;
  from_ms?: number;
  to_ms?: number;
  set?: WalkFields;
}

export interface CueChange {
  cue: number;
  at_ms?: number;
  set?: Partial<CueFields>;
  /** Without an end to it. */
  for_ever?: boolean;
}

/** The nearest to a number that may be typed. */
export function within(value: number, [low, high]: readonly [number, number]): number {
  if (!Number.isFinite(value)) throw new Unable("That is no number.");
  return Math.min(high, Math.max(low, value)) + 0;
}

export function walkFields(house: House, fields: WalkFields): WalkFields {
  const { gait, ...numbers } = fields;
  if (gait !== undefined && !house.maker.gaits.some(({ name }) => name === gait)) {
    throw new Unable(`${house.robot.name} has no gait called ${gait}.`);
  }
  const bounds = BOUNDS.WalkStretch as Record<string, readonly [number, number]>;
  const found: Record<string, number> = {};
  for (const [name, value] of Object.entries(numbers)) {
    const range = bounds[name];
    if (range && value !== undefined) found[name] = within(value, name === "lift_mm" ? [1, range[1]] : range);
  }
  return { ...(gait !== undefined && { gait }), ...found };
}

export function setWalk(sheet: Sheet, { walk: id, from_ms, to_ms, set }: WalkChange, house: House): Sheet {
  const walks = placedWalks(sheet);
  const own = walks.find((walk) => walk.id === id);
  if (!own) return sheet;
  // It goes as far as its neighbours leave room.
  const before = Math.max(0, ...walks.filter(({ from }) => from < own.from).map(({ to }) => to));
  const after = Math.min(Infinity, ...walks.filter(({ from }) => from > own.from).map(({ from }) => from));
  const from = Math.min(Math.max(from_ms ?? own.from, before), after);
  const to = Math.min(Math.max(to_ms ?? own.to, before), after);
  if (!(to - from >= 1)) throw new Unable("There is no room for this walk there.");
  const walk = set ? { ...own.walk, ...walkFields(house, set) } : own.walk;
  return withWalks(sheet, walks.map((each) => (each === own ? { id, from, to, walk } : each)));
}

export function cueFields(house: House, fields: CueFields): CueFields {
  if (!house.robot.outputs.some(({ name }) => name === fields.output)) {
    throw new Unable(`${house.robot.name} has no output called ${fields.output}.`);
  }
  const fade = fields.fade_ms === undefined ? undefined : within(fields.fade_ms, BOUNDS.Cue.fade_ms);
  const lasts = fields.for_ms === undefined ? undefined : within(fields.for_ms, [1, BOUNDS.Cue.for_ms[1]]);
  return {
    output: fields.output,
    level: within(fields.level, BOUNDS.Cue.level),
    ...(fade !== undefined && { fade_ms: lasts === undefined ? fade : Math.min(fade, lasts) }),
    ...(lasts !== undefined && { for_ms: lasts }),
  };
}

export function setCue(sheet: Sheet, { cue: id, at_ms, set, for_ever }: CueChange, house: House): Sheet {
  return withCues(
    sheet,
    placedCues(sheet).map((each) => {
      if (each.id !== id) return each;
      const { at_ms: a, at_beat: b, for_ms, ...rest } = each.cue;
      const fields = { ...rest, ...(for_ms !== undefined && !for_ever && { for_ms }), ...set };
      const when = { ...(a !== undefined && { at_ms: a }), ...(b !== undefined && { at_beat: b }) };
      return { id, ms: at_ms ?? each.ms, cue: { ...when, ...cueFields(house, fields) } };
    }),
  );
}
