/** What can be said of a table or of frames from elsewhere before the hub reads them. No browser. */

import { decode } from "@msgpack/msgpack";

/** The hub takes no longer text. */
export const LONGEST = 1_000_000;

export interface Table {
  name: string;
  text: string;
  heads: string[];
  rows: number;
}

/** Looks at a table's headings; throws an Error in words where there is none. */
export function lookAt(name: string, text: string): Table {
  if (text.length > LONGEST) throw new Error(`${name} is too long: ${(text.length / 1e6).toFixed(1)} million characters, and one million is the most.`);
  const plain = text.replace(/^\ufeff/, "");
  const [first = "", ...others] = plain.split(/\r?\n/);
  const counts = [",", ";", "\t"].map((mark) => [mark, first.split(mark).length - 1] as const);
  const [mark] = counts.reduce((a, b) => (b[1] > a[1] ? b : a));
  const heads = first.split(mark).map((cell) => cell.trim().replace(/^"(.*)"$/, "$1")).filter(Boolean);
  const rows = others.filter((line) => line.trim()).length;
  if (heads.length === 0) throw new Error(`${name} is empty: its first line should name the columns.`);
  if (rows < 2) throw new Error(`${name} has ${rows === 0 ? "no rows" : "one row"} of angles; two are the least.`);
  if (heads.every((head) => head !== "" && Number.isFinite(Number(head)))) throw new Error(`${name} begins with numbers; its first line should name the columns.`);
  return { name, text: plain, heads, rows };
}

const like = (words: string): string => words.toLowerCase().replace(/[^a-z0-9]/g, "");

/** Which column is most likely a joint's: called alike but for case, dots and the unit. */
export function guessed(joint: string, heads: readonly string[]): string {
  const wanted = like(joint);
  return heads.find((head) => head === joint) ?? heads.find((head) => like(head).replace(/(deg|degrees)$/, "") === wanted) ?? "";
}

/** The column with the time, and whether it is in ms; both by its heading. */
export function guessedTime(heads: readonly string[]): { head: string; milliseconds: boolean } {
  const head = heads.find((each) => /^(t|time|at)(s|ms|sec|seconds|milliseconds)?$/.test(like(each))) ?? "";
  return { head, milliseconds: /(ms|milliseconds)$/.test(like(head)) };
}

/** Frames as MessagePack, as a table with its time; throws an Error in words where they are none. */
export function tableOfFrames(name: string, data: Uint8Array): Table {
  let frames: unknown;
  try {
    frames = decode(data);
  } catch {
    throw new Error(`${name} is no MessagePack.`);
  }
  const { format, rate_hz, joints, joints_deg } = (frames ?? {}) as Record<string, unknown>;
  if (format !== "motionhub-frames/1") throw new Error(`${name} holds no frames: its format should be motionhub-frames/1.`);
  const names = Array.isArray(joints) && joints.every((joint) => typeof joint === "string") ? (joints as string[]) : null;
  const rows = Array.isArray(joints_deg) ? (joints_deg as unknown[]) : null;
  if (!names || !rows || typeof rate_hz !== "number" || !(rate_hz > 0)) throw new Error(`${name} should have rate_hz, joints and joints_deg.`);
  const lines = rows.map((row, i) => {
    if (!Array.isArray(row) || row.length !== names.length || !row.every((value) => Number.isFinite(value))) {
      throw new Error(`${name}, row ${i} of joints_deg: ${names.length} numbers were expected.`);
    }
    return [(i / rate_hz).toFixed(5), ...(row as number[]).map((value) => value.toFixed(3))].join(",");
  });
  return lookAt(name, [["t_s", ...names].join(","), ...lines].join("\n"));
}
