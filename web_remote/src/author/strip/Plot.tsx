import { useSignalEffect } from "@preact/signals";
import type { JSX } from "preact";
import { useEffect, useRef } from "preact/hooks";
import uPlot from "uplot";
import { useMaker } from "../context.ts";
import { readInk } from "./ink.ts";
import { gutterFor } from "./Picture.tsx";
import { sampled, type Subject, subjectOf } from "./series.ts";
import { stripOf } from "./state.ts";

const HEIGHT = 108;

/** One curve with its limits, over the times that the strip shows. */
export function Plot(): JSX.Element {
  const maker = useMaker();
  const strip = stripOf(maker);
  const place = useRef<HTMLDivElement>(null);
  const plot = useRef<uPlot | null>(null);
  const beam = useRef<HTMLDivElement>(null);
  const drawn = useRef<Subject | null>(null);

  useEffect(() => {
    const own = place.current;
    if (!own) return;
    const make = (): void => {
      plot.current?.destroy();
      plot.current = made(own, () => drawn.current);
      update();
    };
    const watch = new ResizeObserver(make);
    watch.observe(own);
    const dark = matchMedia("(prefers-color-scheme: dark)");
    dark.addEventListener("change", make);
    return () => {
      watch.disconnect();
      dark.removeEventListener("change", make);
      plot.current?.destroy();
      plot.current = null;
    };
  }, []);

  function update(): void {
    const [preview, house] = [maker.preview.peek(), maker.house.peek()];
    const [from, to] = [strip.view.from.peek(), strip.view.to.peek()];
    const subject = preview && house && subjectOf(strip.subject.peek(), preview, house);
    if (!plot.current || !subject) return;
    drawn.current = subject;
    const first = Math.max(0, Math.floor((from / 1000) * preview.rate_hz) - 1);
    const last = Math.min(preview.frames - 1, Math.ceil((to / 1000) * preview.rate_hz) + 1);
    const data = sampled(subject, Math.min(first, last), last, preview.rate_hz);
    plot.current.batch(() => {
      plot.current?.setData(data, false);
      plot.current?.setScale("x", { min: from, max: to });
      plot.current?.setScale("y", heights(subject, data[1]));
    });
  }

  useSignalEffect(() => {
    void [maker.preview.value, maker.house.value, strip.subject.value, strip.view.from.value, strip.view.to.value];
    update();
  });
  useSignalEffect(() => {
    const x = strip.view.x(maker.player.at.value);
    void [strip.view.from.value, strip.view.scale.value];
    const own = beam.current;
    if (!own || !place.current) return;
    own.style.transform = `translateX(${(gutterFor(place.current.clientWidth) + x).toFixed(1)}px)`;
    own.hidden = x < -8 || x > strip.view.width.value;
  });
  return (
    <div class="strip-plot" aria-hidden="true">
      <div ref={place} />
      <div class="strip-beam" ref={beam} />
    </div>
  );
}

/** The limits are always in sight, and the curve too. */
function heights(subject: Subject, values: readonly number[]): { min: number; max: number } {
  const all = [...values, ...subject.limits.map(({ value }) => value)];
  const low = all.reduce((a, b) => Math.min(a, b), Infinity);
  const high = all.reduce((a, b) => Math.max(a, b), -Infinity);
  const room = Math.max((high - low) * 0.1, 0.5);
  return { min: low - room, max: high + room };
}

function made(place: HTMLElement, subject: () => Subject | null): uPlot {
  const ink = readInk(place);
  const width = Math.max(120, place.clientWidth);
  const options: uPlot.Options = {
    width,
    height: HEIGHT,
    legend: { show: false },
    cursor: { show: false },
    padding: [6, 0, 4, 0],
    scales: { x: { time: false, auto: false }, y: { auto: false } },
    series: [{}, { stroke: ink.ink, width: 1.75, points: { show: false } }],
    axes: [
      { show: false },
      { size: gutterFor(width), stroke: ink.soft, font: `12px ${ink.font}`, grid: { stroke: `${ink.line}55`, width: 1 }, ticks: { show: false } },
    ],
    hooks: { drawAxes: [(own) => drawLimits(own, subject(), ink)] },
  };
  return new uPlot(options, [[], []], place);
}

/** Each limit as a line, and what lies on its wrong side hatched. */
function drawLimits(plot: uPlot, subject: Subject | null, ink: ReturnType<typeof readInk>): void {
  const { ctx: context, bbox } = plot;
  context.save();
  context.beginPath();
  context.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  context.clip();
  for (const { value, wrong } of subject?.limits ?? []) {
    const y = plot.valToPos(value, "y", true);
    const [top, bottom] = wrong === "above" ? [bbox.top, y] : [y, bbox.top + bbox.height];
    context.fillStyle = `${ink.bad}1f`;
    context.fillRect(bbox.left, top, bbox.width, bottom - top);
    context.strokeStyle = ink.bad;
    context.lineWidth = devicePixelRatio;
    context.beginPath();
    for (let x = bbox.left - bbox.height; x < bbox.left + bbox.width; x += 9 * devicePixelRatio) {
      context.moveTo(x, bottom);
      context.lineTo(x + (bottom - top), top);
    }
    context.globalAlpha = 0.28;
    context.stroke();
    context.globalAlpha = 1;
    context.lineWidth = 1.5 * devicePixelRatio;
    context.setLineDash([6 * devicePixelRatio, 4 * devicePixelRatio]);
    context.beginPath();
    context.moveTo(bbox.left, y);
    context.lineTo(bbox.left + bbox.width, y);
    context.stroke();
    context.setLineDash([]);
  }
  context.restore();
}
