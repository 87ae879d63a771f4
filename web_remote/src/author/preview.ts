/** How a move goes, as the hub has rendered and judged it: arrays by frame, put together from what an edit changed. */

import type { PreviewInfo } from "../messages.gen.ts";

/** Rows of `frames` moments at `rate_hz`; see PreviewInfo for what they are. */
export interface Preview {
  readonly rate_hz: number;
  readonly frames: number;
  readonly joints: Int16Array;
  readonly body: Float32Array;
  readonly com: Float32Array;
  readonly down: Uint8Array;
  readonly outputs: Uint8Array;
  readonly margin: Int16Array;
  readonly amps: Uint16Array;
  readonly load: Uint8Array;
}

const ARRAYS = {
  joints: Int16Array,
  body: Float32Array,
  com: Float32Array,
  down: Uint8Array,
  outputs: Uint8Array,
  margin: Int16Array,
  amps: Uint16Array,
  load: Uint8Array,
} as const;

type Rows = Int16Array | Float32Array | Uint8Array | Uint16Array;

/** The preview in a message, given the one that it is a change of; null where that is not at hand. */
export function patched(info: PreviewInfo, before: Preview | null): Preview | null {
  if (info.since >= 0 && !before) return null;
  const sent = info.down.length;
  const tail = info.frames - info.first - sent;
  if (before && info.since >= 0 && (before.frames < info.first + tail || before.rate_hz !== info.rate_hz)) return null;
  const made = (name: keyof typeof ARRAYS): Rows => {
    const kind = ARRAYS[name];
    const own = info[name];
    // A copy: what is in a message need not be aligned.
    const bytes = own.slice();
    const fresh: Rows = new kind(bytes.buffer, bytes.byteOffset, bytes.byteLength / kind.BYTES_PER_ELEMENT);
    if (info.since < 0 || !before) return fresh;
    const old = before[name];
    const columns = before.frames > 0 ? old.length / before.frames : 0;
    const all: Rows = new kind(info.frames * columns);
    all.set(old.subarray(0, info.first * columns));
    all.set(fresh, info.first * columns);
    all.set(old.subarray(old.length - tail * columns), (info.first + sent) * columns);
    return all;
  };
  const rows = Object.fromEntries((Object.keys(ARRAYS) as (keyof typeof ARRAYS)[]).map((name) => [name, made(name)]));
  return { rate_hz: info.rate_hz, frames: info.frames, ...rows } as unknown as Preview;
}

/** One moment of a move. */
export interface Moment {
  joints_deg: number[];
  body: [number, number, number, number, number, number];
  com_mm: [number, number];
  down: boolean[];
  outputs: number[];
  margin_mm: number;
  amps: number;
  /** Per joint, share of the torque that is there. */
  load: number[];
}

/** A moment `ms` after the start, between frames in proportion. */
export function momentAt(preview: Preview, ms: number, legs: number): Moment {
  const last = preview.frames - 1;
  const place = Math.min(Math.max((ms / 1000) * preview.rate_hz, 0), last);
  const [row, next] = [Math.floor(place), Math.min(Math.floor(place) + 1, last)];
  const share = place - row;
  const mixed = (rows: Rows, scale: number): number[] => {
    const columns = rows.length / preview.frames;
    return Array.from({ length: columns }, (_, i) => {
      const a = rows[row * columns + i] as number;
      return (a + ((rows[next * columns + i] as number) - a) * share) / scale;
    });
  };
  const bits = preview.down[Math.round(place)] ?? 0;
  return {
    joints_deg: mixed(preview.joints, 100),
    body: mixed(preview.body, 1) as Moment["body"],
    com_mm: mixed(preview.com, 1) as Moment["com_mm"],
    down: Array.from({ length: legs }, (_, i) => (bits & (1 << i)) !== 0),
    outputs: mixed(preview.outputs, 255),
    margin_mm: mixed(preview.margin, 10)[0] ?? 0,
    amps: mixed(preview.amps, 100)[0] ?? 0,
    load: mixed(preview.load, 100),
  };
}
