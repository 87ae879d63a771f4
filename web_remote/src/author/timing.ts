/** Edits of time itself: stretching, inserting, trimming, and counting in beats or milliseconds. */

import { BOUNDS } from "./document.gen.ts";
import { at, countsBeats, endMs, type SequenceFile, type WalkStretch } from "./document.ts";
import {
  placedCues,
  placedKeys,
  placedWalks,
  type Sheet,
  type Stretch,
  settled,
  Unable,
  withCues,
  withEnd,
  withKeys,
  withWalks,
} from "./sheet.ts";

/** Everything at its new time; what has none is gone. The stated end goes along. */
function warped(
  sheet: Sheet,
  to: (ms: number) => number | null,
  ends: (ms: number) => number,
  walked: (walk: Stretch) => Stretch | null,
): Sheet {
  const stated = sheet.doc.end_ms !== undefined || sheet.doc.end_beat !== undefined;
  const end = stated ? ends(endMs(sheet.doc)) : null;
  const move = <T extends { ms: number }>(items: readonly T[]): T[] =>
    items.flatMap((item) => {
      const ms = to(item.ms);
      return ms === null ? [] : [{ ...item, ms }];
    });
  const [keys, cues] = [move(placedKeys(sheet)), move(placedCues(sheet))];
  const walks = placedWalks(sheet).flatMap((walk) => walked(walk) ?? []);
  if (keys.length + walks.length === 0) throw new Unable("Nothing would be left of the move.");
  // In two steps there may be nothing for a moment, so an end is set aside and all lists go in at once.
  const bare = withoutEnd(sheet);
  const first = keys.length > 0 ? withKeys(bare, keys) : withWalks(bare, walks);
  const all = keys.length > 0 ? withWalks(first, walks) : without(first);
  const cued = withCues(all, cues);
  return end === null ? settled(cued) : withEnd(cued, end);
}

function withoutEnd(sheet: Sheet): Sheet {
  const { end_ms: _ms, end_beat: _beat, ...doc } = sheet.doc;
  return { ...sheet, doc };
}

function without(sheet: Sheet): Sheet {
  const { keyframes: _keys, ...doc } = sheet.doc;
  return { ...sheet, doc, ids: { ...sheet.ids, keys: [] } };
}

function finite(...values: number[]): void {
  if (!values.every(Number.isFinite)) throw new Unable("That is no time.");
}

export function stretched(sheet: Sheet, from: number, to: number, factor: number, cycleMs: number): Sheet {
  finite(from, to, factor);
  if (!(to > from)) throw new Unable("There is no time between these two moments.");
  if (!(factor >= 0.01 && factor <= 100)) throw new Unable("Between a hundredth and a hundred times as long.");
  const gained = (to - from) * (factor - 1);
  const map = (ms: number): number =>
    ms <= from ? ms : ms >= to ? ms + gained : from + (ms - from) * factor;
  return warped(sheet, map, map, (stretch) => {
    const inside = stretch.from >= from - 0.5 && stretch.to <= to + 0.5;
    const walk = inside ? slower(stretch.walk, factor, cycleMs) : stretch.walk;
    return { ...stretch, from: map(stretch.from), to: map(stretch.to), walk };
  });
}

/** A walk that takes so many times as long over the same path, with as many steps where its cycle allows. */
function slower(walk: WalkStretch, factor: number, cycleMs: number): WalkStretch {
  const [least, most] = BOUNDS.WalkStretch.cycle_ms;
  const cycle = Math.min(most, Math.max(least, (walk.cycle_ms ?? cycleMs) * factor));
  const rounded = (value: number): number => Number(value.toFixed(6));
  const speeds: Record<string, number> = {};
  for (const name of ["forward_mm_s", "left_mm_s", "turn_deg_s"] as const) {
    const [low, high] = BOUNDS.WalkStretch[name];
    const value = walk[name];
    if (value !== undefined) speeds[name] = Math.min(high, Math.max(low, rounded(value / factor)));
  }
  return { ...walk, ...speeds, cycle_ms: rounded(cycle) };
}

/** More time at a moment, or less; a walk across it becomes as much longer or shorter. */
export function lengthened(sheet: Sheet, moment: number, ms: number): Sheet {
  finite(moment, ms);
  const gone = (t: number): boolean => ms < 0 && t >= moment && t < moment - ms;
  const map = (t: number): number => (t < moment ? t : Math.max(moment, t + ms));
  return warped(
    sheet,
    (t) => (gone(t) ? null : map(t)),
    map,
    (walk) => ({ ...walk, from: map(walk.from), to: walk.to <= moment ? walk.to : map(walk.to) }),
  );
}

/** What lies between two moments, from 0 on. */
export function trimmed(sheet: Sheet, from: number, to: number): Sheet {
  finite(from, to);
  if (!(to > from)) throw new Unable("There is no time between these two moments.");
  const map = (t: number): number => Math.min(Math.max(t, from), to) - from;
  return warped(
    sheet,
    (t) => (t < from || t > to ? null : t - from),
    map,
    (walk) => ({ ...walk, from: map(walk.from), to: map(walk.to) }),
  );
}

/** Counted in beats of this tempo, or in milliseconds with null; nothing moves but by rounding. */
export function inMeasure(sheet: Sheet, tempo: number | null): Sheet {
  const { doc } = sheet;
  if (tempo === null && !countsBeats(doc)) return sheet;
  if (tempo !== null && countsBeats(doc) && doc.tempo_bpm === tempo) return sheet;
  const stated = doc.end_ms !== undefined || doc.end_beat !== undefined;
  // A document with a single key says in which measure it counts; the rest follows it.
  const target = measureOf(doc, tempo);
  const time = (ms: number) => at(target, ms);
  const keys = placedKeys(sheet).map(({ id, ms, key: { at_ms: _a, at_beat: _b, ...rest } }) => ({ id, ms, key: { ...time(ms), ...rest } }));
  const walks = placedWalks(sheet);
  const cues = placedCues(sheet).map(({ id, ms, cue: { at_ms: _a, at_beat: _b, ...rest } }) => ({ id, ms, cue: { ...time(ms), ...rest } }));
  const end = stated ? endMs(doc) : null;
  let made: Sheet = { ...sheet, doc: target };
  if (keys.length > 0) made = withWalks(withKeys(made, keys), walks);
  else made = without(withWalks(made, walks));
  made = withCues(made, cues);
  return end === null ? settled(made) : withEnd(made, end);
}

/** The document with nothing in it but one key that says in which measure it counts. */
function measureOf(doc: SequenceFile, tempo: number | null): SequenceFile {
  const { keyframes: _k, walks: _w, cues: _c, end_ms: _e, end_beat: _f, ...rest } = doc;
  const first = { body: { z_mm: 0 } };
  return tempo === null
    ? { ...rest, keyframes: [{ at_ms: 0, ...first }] }
    : { ...rest, tempo_bpm: tempo, keyframes: [{ at_beat: 0, ...first }] };
}

/** Another tempo: in beats everything comes sooner or later, in milliseconds only the grid changes. */
export function retempoed(sheet: Sheet, tempo: number): Sheet {
  if (sheet.doc.tempo_bpm === tempo) return sheet;
  return settled({ ...sheet, doc: { ...sheet.doc, tempo_bpm: tempo } });
}
