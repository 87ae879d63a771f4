/**
 * The picture of the strip. Every lane is a cord: where nothing moves it lies level, and it rises and falls as what
 * it stands for does. Keys are lanterns hung on their cord. The line under a leg's cord is its footfall: drawn where the
 * foot stands, and broken where it is in the air (a gait diagram, as in Hildebrand, Science 150 (1965), 701-708).
 */

import { curveOf } from "../approach.ts";
import type { Channel } from "../document.ts";
import { type Ink, lantern, ring, scribble, wideness } from "./ink.ts";
import { laneOfFinding, placed, type Row, RULER, walkWords } from "./rows.ts";
import { leadOf, type StripState } from "./state.ts";
import { ticks } from "./view.ts";

/** Between the names and the start, so that a lantern at 0 is seen whole. */
const MARGIN = 9;

/** Rows that stay in sight while the lanes are scrolled. */
export const FIXED = new Set(["findings", "whole"]);

export interface Frame {
  width: number;
  height: number;
  /** Of the column with the rows' names. */
  gutter: number;
  scrolled: number;
  focused: boolean;
}

/** Where rows are drawn at this moment. */
export function spread(rows: readonly Row[], scrolled: number): { row: Row; top: number; height: number }[] {
  return placed(rows).map((each) => (FIXED.has(each.row.name) ? each : { ...each, top: each.top - scrolled }));
}

export function paint(context: CanvasRenderingContext2D, strip: StripState, ink: Ink, frame: Frame): void {
  const { view, maker } = strip;
  const doc = maker.doc.peek();
  const { width, height, gutter } = frame;
  const edge = gutter - MARGIN;
  context.clearRect(0, 0, width, height);
  if (!doc) return;
  const all = spread(strip.rows.peek(), frame.scrolled);
  const fixed = all.filter(({ row }) => FIXED.has(row.name));
  const top = fixed.reduce((sum, each) => sum + each.height, RULER);
  const end = view.x(maker.lengthMs.peek()) + gutter;
  const marks = ticks(doc, view.from.peek(), view.to.peek(), view.scale.peek());
  const x = (ms: number): number => gutter + view.x(ms);
  const house = maker.house.peek();
  const about = house ? strip.findings.peek().map((finding) => [finding, laneOfFinding(house.robot, finding)] as const) : [];

  const part = (from: number, to: number, draw: () => void): void => {
    context.save();
    context.beginPath();
    context.rect(0, from, width, to - from);
    context.clip();
    draw();
    context.restore();
  };

  part(top, height, () => {
    range();
    grid(top);
    for (const each of all) if (!FIXED.has(each.row.name) && each.top + each.height > top && each.top < height) drawRow(each);
    beyond(top);
  });
  part(0, top, () => {
    context.fillStyle = ink.inset;
    context.fillRect(0, 0, width, RULER);
    range();
    ruler();
    grid(RULER);
    for (const each of fixed) drawRow(each);
    beyond(0);
    context.fillStyle = ink.line;
    context.fillRect(0, top - 1.5, width, 1.5);
  });
  context.fillStyle = ink.line;
  context.fillRect(edge - 1, 0, 1, height);
  const box = strip.box.peek();
  if (box) {
    context.fillStyle = `${ink.glow}33`;
    context.strokeStyle = ink.lamp;
    context.setLineDash([5, 4]);
    context.lineWidth = 1.5;
    const rect = [Math.min(box[0], box[2]), Math.min(box[1], box[3]), Math.abs(box[2] - box[0]), Math.abs(box[3] - box[1])] as const;
    context.fillRect(...rect);
    context.strokeRect(...rect);
    context.setLineDash([]);
  }

  function range(): void {
    const chosen = view.range.peek();
    if (!chosen) return;
    const [a, b] = [Math.max(edge, x(chosen[0])), Math.max(edge, x(chosen[1]))];
    context.fillStyle = `${ink.glow}2e`;
    context.fillRect(a, 0, b - a, height);
  }

  function grid(from: number): void {
    context.fillStyle = `${ink.line}40`;
    for (const { ms, words } of marks) if (words && x(ms) > edge) context.fillRect(Math.round(x(ms)), from, 1, height);
  }

  /** What lies after the end is not of the move. */
  function beyond(from: number): void {
    if (end >= width) return;
    context.fillStyle = `${ink.line}2b`;
    context.fillRect(Math.max(end, gutter), from, width - end, height);
    context.fillStyle = ink.ink;
    context.fillRect(Math.max(end, gutter) - 1, from, 2, height);
  }

  function ruler(): void {
    context.font = `600 12px ${ink.font}`;
    context.textBaseline = "middle";
    for (const { ms, words } of marks) {
      const at = x(ms);
      if (at < edge) continue;
      context.fillStyle = words ? ink.soft : ink.line;
      context.fillRect(Math.round(at), words ? RULER - 11 : RULER - 6, 1, words ? 11 : 6);
      if (words) context.fillText(words, at + 4, RULER / 2 - 2);
    }
    const chosen = view.range.peek();
    if (!chosen) return;
    context.fillStyle = ink.lamp;
    for (const [ms, side] of [[chosen[0], 1], [chosen[1], -1]] as const) {
      const at = x(ms);
      if (at < edge) continue;
      context.beginPath();
      context.moveTo(at, 2);
      context.lineTo(at + 9 * side, 2);
      context.lineTo(at, RULER - 3);
      context.fill();
    }
  }

  function drawRow({ row, top: y, height: tall }: { row: Row; top: number; height: number }): void {
    const active = strip.active.peek().row === row.name;
    context.fillStyle = active ? `${ink.glow}1f` : row.kind === "lane" ? "transparent" : `${ink.inset}80`;
    context.fillRect(0, y, width, tall);
    context.fillStyle = `${ink.line}59`;
    context.fillRect(0, y + tall - 1, width, 1);
    context.save();
    context.beginPath();
    context.rect(edge, y, width - edge, tall);
    context.clip();
    if (row.kind === "lane") lane(row, y, tall);
    else if (row.kind === "whole") whole(row, y, tall);
    else if (row.kind === "findings") findings(row, y, tall);
    else if (row.kind === "walks") walks(row, y, tall);
    else if (row.kind === "cues") cues(row, y, tall);
    else sound(row, y, tall);
    context.restore();
    name(row, y, tall, active);
  }

  function name(row: Row, y: number, tall: number, active: boolean): void {
    const here = active && strip.active.peek().id === -1;
    context.font = `${active ? 700 : 500} 12px ${ink.font}`;
    context.textBaseline = "middle";
    context.fillStyle = active ? ink.ink : ink.soft;
    const split = row.words.indexOf(" ");
    if (split > 0 && wideness(row.words, context) > edge - 10) {
      context.fillText(row.words.slice(0, split), 7, y + tall / 2 - 6, edge - 9);
      context.fillText(row.words.slice(split + 1), 7, y + tall / 2 + 7, edge - 9);
    } else context.fillText(row.words, 7, y + tall / 2 + 1, edge - 9);
    if (here && frame.focused) ring(context, ink, 2, y + 2, edge - 5, tall - 4);
  }

  function lane(row: Row, y: number, tall: number): void {
    const tracks = strip.tracks.peek();
    const channel = tracks && row.lane ? leadOf(tracks, row.lane) : null;
    const level = cord(channel, y, tall);
    if (row.lane?.startsWith("leg:")) footfall(row.lane.slice(4), y + tall - 4);
    pencil(row, y, tall);
    let last = -100;
    for (const item of row.items) {
      const at = x(item.ms);
      if (at < edge - 12 || at > width + 12) continue;
      const chosen = strip.isChosen(row, item);
      lantern(context, ink, at, level(item.ms), chosen, at - last < 5 && !chosen);
      if (frame.focused && isActive(row, item.id)) ring(context, ink, at - 12, y + 3, 24, tall - 6);
      last = at;
    }
  }

  function isActive(row: Row, id: number): boolean {
    const spot = strip.active.peek();
    return spot.row === row.name && spot.id === id;
  }

  /** Draws the cord after a channel, and gives its height at a time. */
  function cord(channel: Channel | null, y: number, tall: number): (ms: number) => number {
    const keys = channel ? (strip.tracks.peek()?.get(channel) ?? []) : [];
    const values = keys.map(({ value }) => value ?? 0);
    const [low, high] = [Math.min(...values, 0), Math.max(...values, 0)];
    const span = high - low;
    const up = (value: number): number => (span < 0.01 ? y + tall * 0.42 : y + tall - 13 - ((value - low) / span) * (tall - 22));
    context.strokeStyle = keys.length > 0 ? ink.soft : ink.line;
    context.lineWidth = keys.length > 0 ? 1.75 : 1;
    if (keys.length === 0) context.setLineDash([2, 5]);
    context.beginPath();
    let [at, value] = [0, values[0] ?? 0];
    context.moveTo(edge, up(value));
    for (const [i, key] of keys.entries()) {
      const next = values[i] as number;
      const [a, b] = [x(at), x(key.ms)];
      if (b >= edge && a <= width) {
        const parts = next === value ? 1 : Math.min(24, Math.max(2, Math.round((b - a) / 4)));
        const curve = parts > 1 ? curveOf(key.approach) : null;
        context.lineTo(a, up(value));
        for (let p = 1; p <= parts; p++) {
          const share = p / parts;
          // A jump is drawn as one, not as a slope to the next sample.
          const progress = curve ? curve(Math.min(share, 1)) : share;
          context.lineTo(a + (b - a) * share, up(value + (next - value) * progress));
        }
      } else if (b < edge) context.moveTo(edge, up(next));
      [at, value] = [key.ms, next];
    }
    context.lineTo(Math.max(gutter, Math.min(end, width)), up(value));
    context.stroke();
    context.setLineDash([]);
    // Asked for in order of time, so it goes on from where it was.
    let i = 0;
    return (ms) => {
      while (i < keys.length && (keys[i]?.ms ?? 0) < ms - 0.5) i++;
      const [before, after] = [keys[i - 1], keys[i]];
      if (!after) return up(values.at(-1) ?? 0);
      const [a, b] = [values[i - 1] ?? (values[i] as number), values[i] as number];
      const length = after.ms - (before?.ms ?? 0);
      const share = length > 0 ? Math.min(1, (ms - (before?.ms ?? 0)) / length) : 1;
      return up(a + (b - a) * (curveOf(after.approach)?.(share) ?? share));
    };
  }

  function footfall(leg: string, y: number): void {
    const preview = maker.preview.peek();
    const bit = maker.house.peek()?.robot.legs.findIndex((each) => each.name === leg) ?? -1;
    if (!preview || bit < 0) return;
    const rate = preview.rate_hz;
    const first = Math.max(0, Math.floor((view.from.peek() / 1000) * rate));
    const last = Math.min(preview.frames - 1, Math.ceil((view.to.peek() / 1000) * rate));
    const mask = 1 << bit;
    context.fillStyle = ink.line;
    let since = -1;
    for (let row = first; row <= last + 1; row++) {
      const down = row <= last && ((preview.down[row] as number) & mask) !== 0;
      if (down && since < 0) since = row;
      if (!down && since >= 0) {
        const a = x((since / rate) * 1000);
        context.fillRect(a, y, Math.max(1, x((row / rate) * 1000) - a), 2.5);
        since = -1;
      }
    }
  }

  /** Bands over the lane that a finding is about. */
  function pencil(row: Row, y: number, tall: number): void {
    for (const [finding, lane] of about) {
      if (lane !== row.lane) continue;
      const a = x(finding.start_s * 1000);
      const wide = Math.max(4, x(finding.end_s * 1000) - a);
      if (a + wide < gutter || a > width) continue;
      const colour = finding.severity === "error" ? ink.bad : ink.lamp;
      context.fillStyle = `${colour}24`;
      context.fillRect(a, y, wide, tall - 1);
      scribble(context, colour, Math.max(a, gutter - 6), Math.min(a + wide, width + 6), y + tall - 9);
    }
  }

  /** All at once: pegs, with a bracket over what is chosen together. */
  function whole(row: Row, y: number, tall: number): void {
    const chosen = view.range.peek();
    for (const item of row.items) {
      const at = x(item.ms);
      if (at < edge - 8 || at > width + 8) continue;
      const lit = strip.isChosen(row, item);
      context.fillStyle = lit ? ink.glow : ink.ink;
      context.strokeStyle = ink.ink;
      context.lineWidth = 1.5;
      context.beginPath();
      context.moveTo(at - 4, y + 5);
      context.lineTo(at + 4, y + 5);
      context.lineTo(at + 2, y + tall - 6);
      context.lineTo(at - 2, y + tall - 6);
      context.closePath();
      context.fill();
      if (lit) context.stroke();
      if (frame.focused && isActive(row, item.id)) ring(context, ink, at - 10, y + 2, 20, tall - 5);
    }
    if (!chosen) return;
    // What is taken hold of to stretch the time in between.
    const at = x(chosen[1]);
    context.strokeStyle = ink.lamp;
    context.lineWidth = 2;
    context.beginPath();
    context.moveTo(at + 9, y + tall / 2);
    context.lineTo(at + 21, y + tall / 2);
    context.moveTo(at + 16, y + tall / 2 - 5);
    context.lineTo(at + 21, y + tall / 2);
    context.lineTo(at + 16, y + tall / 2 + 5);
    context.stroke();
  }

  function findings(row: Row, y: number, tall: number): void {
    const found = strip.findings.peek();
    for (const item of row.items) {
      const finding = found[item.id];
      if (!finding) continue;
      const a = x(item.ms);
      const long = Math.max(14, x(item.to) - a);
      if (a + long < gutter || a > width) continue;
      const colour = finding.severity === "error" ? ink.bad : ink.lamp;
      const here = isActive(row, item.id);
      context.fillStyle = `${colour}${here ? "55" : "22"}`;
      context.fillRect(a, y + 2, long, tall - 5);
      scribble(context, colour, Math.max(a, gutter - 6), Math.min(a + long, width + 6), y + tall - 6);
      context.font = `600 11px ${ink.font}`;
      context.textBaseline = "middle";
      context.fillStyle = colour;
      const words = finding.rule.replace("-", " ");
      if (wideness(words, context) < long - 6) context.fillText(words, Math.max(a, gutter) + 4, y + tall / 2 - 3);
      if (here && frame.focused) ring(context, ink, a, y + 1, long, tall - 4);
    }
  }

  function walks(row: Row, y: number, tall: number): void {
    const doc = maker.doc.peek();
    for (const [i, item] of row.items.entries()) {
      const [a, b] = [x(item.ms), x(item.to)];
      if (b < gutter || a > width) continue;
      const lit = strip.isChosen(row, item);
      context.fillStyle = lit ? `${ink.glow}66` : `${ink.good}33`;
      context.strokeStyle = lit ? ink.ink : ink.good;
      context.lineWidth = lit ? 2.5 : 1.75;
      context.beginPath();
      context.roundRect(a + 1, y + 5, Math.max(4, b - a - 2), tall - 11, 7);
      context.fill();
      context.stroke();
      const walk = doc?.walks?.[i];
      context.font = `600 12px ${ink.font}`;
      context.textBaseline = "middle";
      context.fillStyle = ink.ink;
      context.save();
      context.beginPath();
      context.rect(a + 4, y, b - a - 8, tall);
      context.clip();
      context.fillText(walk ? walkWords(walk) : "", Math.max(a, gutter) + 9, y + tall / 2);
      context.restore();
      if (frame.focused && isActive(row, item.id)) ring(context, ink, a, y + 2, b - a, tall - 5);
    }
  }

  function cues(row: Row, y: number, tall: number): void {
    const doc = maker.doc.peek();
    for (const [i, item] of row.items.entries()) {
      const at = x(item.ms);
      const cue = doc?.cues?.[i];
      if (!cue || at > width + 10 || x(item.to) < gutter - 10) continue;
      const lit = strip.isChosen(row, item);
      context.fillStyle = `${ink.glow}55`;
      context.fillRect(at, y + tall - 8, Math.max(2, x(item.to) - at), 3);
      context.beginPath();
      context.arc(at, y + tall / 2 - 2, 6.5, 0, 2 * Math.PI);
      context.fillStyle = lit ? ink.glow : ink.paper;
      context.fill();
      // As full as the output is turned up.
      context.fillStyle = lit ? ink.ink : ink.glow;
      context.beginPath();
      context.moveTo(at, y + tall / 2 - 2);
      context.arc(at, y + tall / 2 - 2, 6.5, -Math.PI / 2, -Math.PI / 2 + cue.level * 2 * Math.PI);
      context.fill();
      context.strokeStyle = ink.ink;
      context.lineWidth = lit ? 2.5 : 1.5;
      context.beginPath();
      context.arc(at, y + tall / 2 - 2, 6.5, 0, 2 * Math.PI);
      context.stroke();
      if (frame.focused && isActive(row, item.id)) ring(context, ink, at - 11, y + 2, 22, tall - 5);
    }
  }

  function sound(row: Row, y: number, tall: number): void {
    const loud = strip.loudness.peek();
    const item = row.items[0];
    if (!item) return;
    context.fillStyle = ink.soft;
    if (!loud) {
      context.font = `500 12px ${ink.font}`;
      context.textBaseline = "middle";
      context.fillText("is being read", Math.max(gutter, x(item.ms)) + 6, y + tall / 2);
    } else {
      for (let at = Math.max(gutter, Math.floor(x(item.ms))); at < width; at += 2) {
        const [first, last] = [at, at + 2].map((each) => Math.floor((view.ms(each - gutter) - item.ms) / 10)) as [number, number];
        if (first >= loud.length) break;
        let most = 0;
        for (let i = Math.max(0, first); i <= Math.min(last, loud.length - 1); i++) most = Math.max(most, loud[i] as number);
        const tallest = Math.max(1, most * (tall - 8));
        context.fillRect(at, y + (tall - tallest) / 2, 1.5, tallest);
      }
    }
    if (frame.focused && isActive(row, item.id)) ring(context, ink, Math.max(gutter, x(item.ms)) + 2, y + 2, 24, tall - 5);
  }
}
