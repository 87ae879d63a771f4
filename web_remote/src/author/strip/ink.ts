/** What the strip is painted with: its colours, and the marks that recur in it. */

export interface Ink {
  paper: string;
  inset: string;
  ink: string;
  soft: string;
  line: string;
  lamp: string;
  glow: string;
  bad: string;
  good: string;
  font: string;
}

export function readInk(element: Element): Ink {
  const style = getComputedStyle(element);
  const read = (name: string): string => style.getPropertyValue(name).trim();
  return {
    paper: read("--paper"),
    inset: read("--inset"),
    ink: read("--ink"),
    soft: read("--soft"),
    line: read("--line"),
    lamp: read("--lamp"),
    glow: read("--glow"),
    bad: read("--bad"),
    good: read("--good"),
    font: read("--sans"),
  };
}

/** How wide words are in the fonts that they have been drawn in: asked of the browser each time, it is slow. */
const widths = new Map<string, number>();

export function wideness(words: string, context: CanvasRenderingContext2D): number {
  const key = `${context.font} ${words}`;
  const known = widths.get(key);
  if (known !== undefined) return known;
  const found = context.measureText(words).width;
  if (widths.size > 500) widths.clear();
  widths.set(key, found);
  return found;
}

/** Around what has the focus. */
export function ring(context: CanvasRenderingContext2D, ink: Ink, left: number, up: number, wide: number, tall: number): void {
  context.strokeStyle = ink.lamp;
  context.lineWidth = 3;
  context.strokeRect(left, up, wide, tall);
}

/** A pencil's line under what is wrong, from one place to another. */
export function scribble(context: CanvasRenderingContext2D, colour: string, from: number, to: number, y: number): void {
  context.strokeStyle = colour;
  context.lineWidth = 1.75;
  context.beginPath();
  context.moveTo(from, y);
  for (let at = from, i = 0; at < to; at += 4, i++) context.lineTo(Math.min(at + 4, to), y + (i % 2 ? 0 : -4));
  context.stroke();
}

/** A key on its cord; a mere line where they are too many to be told apart. */
export function lantern(context: CanvasRenderingContext2D, ink: Ink, at: number, y: number, chosen: boolean, thin: boolean): void {
  if (thin) {
    context.fillStyle = ink.ink;
    context.fillRect(at - 0.75, y, 1.5, 10);
    return;
  }
  context.fillStyle = chosen ? ink.glow : ink.paper;
  context.strokeStyle = ink.ink;
  context.lineWidth = chosen ? 2.5 : 1.75;
  context.beginPath();
  context.moveTo(at, y - 3);
  context.lineTo(at, y);
  context.roundRect(at - 5, y, 10, 11, 3.5);
  context.fill();
  context.stroke();
  if (chosen) {
    context.fillStyle = ink.ink;
    context.fillRect(at - 1, y + 3.5, 2, 4);
  }
}
