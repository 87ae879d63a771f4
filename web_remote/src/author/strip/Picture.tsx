import { useComputed, useSignal, useSignalEffect } from "@preact/signals";
import type { JSX } from "preact";
import { useEffect, useRef } from "preact/hooks";
import { useMaker } from "../context.ts";
import { handle } from "./hands.ts";
import { Keys } from "./Keys.tsx";
import { type Ink, readInk } from "./ink.ts";
import { paint } from "./paint.ts";
import { heightOf } from "./rows.ts";
import { stripOf } from "./state.ts";

/** The column of names: narrower where there is little room. */
export const gutterFor = (width: number): number => (width < 480 ? 68 : 100);

/** The strip as it is seen and taken hold of; for everybody else it is a grid of keys beneath. */
export function Picture(): JSX.Element {
  const maker = useMaker();
  const strip = stripOf(maker);
  const scroller = useRef<HTMLDivElement>(null);
  const canvas = useRef<HTMLCanvasElement>(null);
  const beam = useRef<HTMLDivElement>(null);
  const size = useSignal<readonly [number, number]>([0, 0]);
  const scrolled = useSignal(0);
  const focused = useSignal(false);
  const ink = useSignal<Ink | null>(null);
  const { view } = strip;

  useEffect(() => {
    const own = scroller.current;
    if (!own) return;
    const watch = new ResizeObserver(() => {
      // Out of sight it keeps its size, and is there at once when it is looked at again.
      if (own.clientWidth === 0) return;
      const [before] = size.peek();
      size.value = [own.clientWidth, own.clientHeight];
      const width = Math.max(60, own.clientWidth - gutterFor(own.clientWidth));
      const all = before === 0 && view.from.peek() === 0;
      view.width.value = width;
      if (all) view.fit();
      else view.zoom(1, 0);
    });
    watch.observe(own);
    const dark = matchMedia("(prefers-color-scheme: dark)");
    const look = (): void => {
      ink.value = readInk(own);
    };
    look();
    dark.addEventListener("change", look);
    return () => {
      watch.disconnect();
      dark.removeEventListener("change", look);
    };
  }, [view, size, ink]);

  useEffect(() => {
    const [own, drawn] = [scroller.current, canvas.current];
    if (!own || !drawn) return;
    return handle(drawn, strip, {
      gutter: () => gutterFor(own.clientWidth),
      scrolled: () => own.scrollTop,
    });
  }, [strip]);

  // Runs once before the next picture, for however many changes there were.
  useSignalEffect(() => {
    const [width, height] = size.value;
    const [drawn, colours] = [canvas.current, ink.value];
    // Read here, so that a change of any of them asks for a picture.
    void [strip.rows.value, strip.tracks.value, strip.active.value, strip.box.value, strip.loudness.value, maker.selection.value, maker.preview.value];
    void [view.from.value, view.scale.value, view.range.value];
    const frame = { width, height, gutter: gutterFor(width), scrolled: scrolled.value, focused: focused.value };
    const context = drawn?.getContext("2d");
    if (!drawn || !context || !colours || width === 0) return;
    const sharp = Math.min(2, devicePixelRatio || 1);
    if (drawn.width !== Math.round(width * sharp) || drawn.height !== Math.round(height * sharp)) {
      drawn.width = Math.round(width * sharp);
      drawn.height = Math.round(height * sharp);
    }
    context.setTransform(sharp, 0, 0, sharp, 0, 0);
    paint(context, strip, colours, frame);
  });

  // The beam of light is where the time is: it moves without a new picture.
  useSignalEffect(() => {
    const at = maker.player.at.value;
    const [width] = size.value;
    const own = beam.current;
    if (!own || width === 0) return;
    if (maker.player.playing.peek() && (at > view.to.peek() || at < view.from.peek())) view.goTo(at);
    void [view.from.value, view.scale.value];
    const x = view.x(at);
    own.style.transform = `translateX(${(gutterFor(width) + x).toFixed(1)}px)`;
    own.hidden = x < -8 || x > view.width.value + 1;
  });

  const tall = useComputed(() => heightOf(strip.rows.value)).value;
  return (
    <div
      class="strip-picture"
      ref={scroller}
      onScroll={(event) => {
        scrolled.value = event.currentTarget.scrollTop;
      }}
      onFocusIn={() => {
        focused.value = true;
      }}
      onFocusOut={() => {
        focused.value = false;
      }}
    >
      <div class="strip-pane" style={{ height: `${size.value[1]}px` }}>
        <canvas ref={canvas} class="strip-canvas" aria-hidden="true" data-testid="strip-picture" style={{ width: `${size.value[0]}px`, height: `${size.value[1]}px` }} />
        <div class="strip-beam" ref={beam} />
        <Keys scroller={scroller} />
      </div>
      <div style={{ height: `${Math.max(0, tall - size.value[1])}px` }} />
    </div>
  );
}
