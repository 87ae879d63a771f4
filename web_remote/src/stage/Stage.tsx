import { useSignal, useSignalEffect } from "@preact/signals";
import type { ComponentChildren, JSX } from "preact";
import { useEffect, useRef } from "preact/hooks";
import { useRemote } from "../ui/context.ts";
import { Plan } from "../ui/Plan.tsx";
import type { Scene } from "./scene.ts";

type View = "coming" | "shown" | "missing";

/** The live robot in a pool of light. The 3D part comes when everything else is there. */
export function Stage({ children }: { children: ComponentChildren }): JSX.Element {
  const { robot, state, figure, hands, pointed } = useRemote();
  const canvas = useRef<HTMLCanvasElement>(null);
  const scene = useRef<Scene | null>(null);
  const view = useSignal<View>("coming");

  useEffect(() => {
    let gone = false;
    const begin = async (): Promise<void> => {
      try {
        // Asked first: without WebGL there is nothing to fetch the 3D part for.
        if (!document.createElement("canvas").getContext("webgl2")) throw new Error("no WebGL 2");
        const { makeScene } = await import("./scene.ts");
        if (gone || !canvas.current) return;
        scene.current = makeScene(canvas.current);
        view.value = "shown";
      } catch {
        // No WebGL, or the part could not be loaded: everything else works without it.
        if (!gone) view.value = "missing";
      }
    };
    void begin();
    return () => {
      gone = true;
      scene.current?.end();
      scene.current = null;
    };
  }, [view]);

  useSignalEffect(() => {
    const [made, now] = [robot.value, figure.value ?? state.value];
    const at = made && pointed.value ? made.joints.indexOf(pointed.value) : -1;
    if (view.value === "shown" && made && now) scene.current?.show(made, now, at);
  });

  const Hands = hands.value;
  return (
    <section class="stage" aria-label={figure.value ? "The move, not the robot" : "The robot, live"}>
      <canvas
        ref={canvas}
        class={view.value === "missing" ? "gone" : ""}
        tabIndex={0}
        data-keys="own"
        role="img"
        aria-label="The robot in 3D. Drag to look around; by keyboard: arrows turn, plus and minus come nearer or go back, 0 looks as at first."
      />
      {view.value === "missing" && (
        <div class="no-view">
          <svg viewBox="-60 -60 120 120" aria-hidden="true">
            <Plan reach={50} />
          </svg>
          <p>This browser does not draw in 3D, so here it is from above. All else works.</p>
        </div>
      )}
      {view.value === "coming" && <p class="no-view">The stage is being lit.</p>}
      <Legend />
      {Hands && view.value === "shown" && scene.current && <Hands view={scene.current.view} />}
      {figure.value && <p class="stage-note">The move, not the robot</p>}
      {children}
    </section>
  );
}

function Legend(): JSX.Element {
  const { state, figure } = useRemote();
  const margin = useSignal("");
  useSignalEffect(() => {
    const now = figure.value ?? state.value;
    margin.value = now ? `Margin ${now.margin_mm.toFixed(0)} mm` : "";
  });
  return (
    <p class="legend">
      <span class="legend-more">
        <svg class="mark" viewBox="0 0 20 20" aria-hidden="true">
          <circle cx="10" cy="10" r="6" class="filled" />
        </svg>
        foot down
        <svg class="mark" viewBox="0 0 20 20" aria-hidden="true">
          <circle cx="10" cy="10" r="6" stroke-dasharray="3 2.2" />
        </svg>
        foot up
        <svg class="mark" viewBox="0 0 20 20" aria-hidden="true">
          <path d="M10 2v16M2 10h16" />
          <circle cx="10" cy="10" r="5" />
        </svg>
        centre of mass
      </span>
      <span data-testid="margin">{margin}</span>
    </p>
  );
}
