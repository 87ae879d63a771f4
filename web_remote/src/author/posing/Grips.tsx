/**
 * The beads over the 3D view by which the figure is moved. They are buttons of the page: large to a thumb, reached by
 * Tab, moved by arrow and Page keys. Where they are is set on them after each picture, without drawing this anew.
 */

import { effect, useComputed } from "@preact/signals";
import type { JSX, TargetedKeyboardEvent, TargetedPointerEvent } from "preact";
import { useEffect, useMemo, useRef } from "preact/hooks";
import { type Shape, shape, type Vec3 } from "../../kinematics.ts";
import type { State } from "../../messages.gen.ts";
import type { Sight, Spot, View } from "../../stage/view.ts";
import { useMaker } from "../context.ts";
import { usePoser } from "./context.ts";
import { bodyWish, type Grip, gripsOf, KEY_STEPS, outOf, stepOf, tiedTo, whereIs } from "./grips.ts";
import { strainOf } from "./limits.ts";
import { Report } from "./Report.tsx";
import { COARSE_STEP, FINE_STEP } from "./Row.tsx";

/** A finger that moves less has only tapped, px. */
const SLOP = { mouse: 3, touch: 9 } as const;
/** Degrees for each px of a joint whose tip the picture does not show moving. */
const SWING = 0.4;

interface Drag {
  grip: Grip;
  finger: number;
  gesture: string;
  sight: Sight;
  from: Spot;
  last: Spot;
  moved: boolean;
  foot: Vec3;
  body: readonly number[];
  deg: number;
}

export function Grips({ view }: { view: View }): JSX.Element {
  const maker = useMaker();
  const poser = usePoser();
  const house = maker.house.value;
  const part = poser.part.value;
  const grips = useMemo(() => (house ? gripsOf(house, part) : []), [house, part]);
  const beads = useRef(new Map<string, HTMLElement>());
  const marks = useRef<(SVGElement | null)[]>([]);
  const cords = useRef<SVGPathElement>(null);
  const pull = useRef<SVGPathElement>(null);
  const drag = useRef<Drag | null>(null);
  const spots = useRef(new Map<string, Spot>());

  useEffect(() => {
    let figure: Shape | null = null;
    let of: State | null = null;
    const ends: Spot = { x: 0, y: 0 };
    const levels: number[] = [];
    const put = (element: Element & ElementCSSInlineStyle, { x, y }: Spot): void => {
      element.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)`;
    };
    const place = (): void => {
      const state = view.shown();
      if (!state || !house) return;
      const { robot } = house;
      if (state !== of || !figure) figure = shape(robot, state.joints_deg);
      of = state;
      let lines = "";
      // While it is played nothing can be taken hold of, and the beads are out of sight.
      for (const grip of maker.player.playing.peek() ? [] : grips) {
        let spot = spots.current.get(grip.id);
        if (!spot) spots.current.set(grip.id, (spot = { x: 0, y: 0 }));
        view.project(whereIs(grip, robot, figure, state.body), spot);
        const bead = beads.current.get(grip.id);
        if (bead) put(bead, spot);
        const tied = tiedTo(grip, robot, figure, state.body);
        if (tied) {
          view.project(tied, ends);
          lines += `M${spot.x.toFixed(1)} ${spot.y.toFixed(1)}L${ends.x.toFixed(1)} ${ends.y.toFixed(1)}`;
        }
      }
      cords.current?.setAttribute("d", lines);
      const held = drag.current;
      const at = held && spots.current.get(held.grip.id);
      const far = held?.moved && at && poser.ends.peek();
      pull.current?.setAttribute("d", far ? `M${at.x.toFixed(1)} ${at.y.toFixed(1)}L${held.last.x.toFixed(1)} ${held.last.y.toFixed(1)}` : "");
      const load = maker.moment.peek()?.load;
      for (let i = 0; i < robot.joints.length; i++) {
        const mark = marks.current[i];
        if (!mark) continue;
        const level = strainOf(house, i, state.joints_deg[i] ?? 0, load?.[i]);
        if (level !== levels[i]) mark.setAttribute("class", ["strain", "strain near", "strain ends"][level] ?? "strain");
        levels[i] = level;
        if (level === 0) continue;
        const leg = Math.floor(i / 3);
        const local = leg < robot.legs.length ? figure.legs[leg]?.[(i % 3) as 0 | 1 | 2] : figure.extra[i - 3 * robot.legs.length]?.[0];
        if (!local) continue;
        view.project(outOf(state.body, local), ends);
        put(mark, ends);
      }
    };
    view.drawn = place;
    const end = effect(() => {
      if (!maker.player.playing.value) place();
    });
    return () => {
      end();
      if (view.drawn === place) view.drawn = null;
    };
  }, [view, house, grips, maker, poser]);

  const begin = (event: TargetedPointerEvent<HTMLElement>): void => {
    if (event.button !== 0 || drag.current || !house) return;
    const box = event.currentTarget.getBoundingClientRect();
    const at: Spot = { x: event.clientX - box.left, y: event.clientY - box.top };
    // Where beads lie over each other, the nearest one is meant.
    const far = ({ id }: Grip): number => {
      const spot = spots.current.get(id);
      return spot ? Math.hypot(spot.x - at.x, spot.y - at.y) : Infinity;
    };
    const open = grips.filter(({ id }) => beads.current.get(id)?.offsetParent);
    const [grip] = open.sort((a, b) => far(a) - far(b));
    const [state, now] = [view.shown(), poser.now.peek()];
    if (!grip || far(grip) > 34 || !state || !now) return;
    event.preventDefault();
    event.currentTarget.setPointerCapture(event.pointerId);
    const point = whereIs(grip, house.robot, shape(house.robot, state.joints_deg), state.body);
    drag.current = {
      grip,
      finger: event.pointerId,
      gesture: poser.gesture(),
      sight: view.sight(point),
      from: at,
      last: { ...at },
      moved: false,
      foot: now.feet[Math.max(0, grip.index)] ?? [0, 0, 0],
      body: now.body,
      deg: now.joints[3 * house.robot.legs.length + grip.index] ?? 0,
    };
  };

  const move = (event: TargetedPointerEvent<HTMLElement>): void => {
    const held = drag.current;
    if (!held || held.finger !== event.pointerId || !house) return;
    const box = event.currentTarget.getBoundingClientRect();
    const [x, y] = [event.clientX - box.left, event.clientY - box.top];
    const [dx, dy] = [x - held.from.x, y - held.from.y];
    if (!held.moved && Math.hypot(dx, dy) < (event.pointerType === "touch" ? SLOP.touch : SLOP.mouse)) return;
    const { grip, gesture } = held;
    if (!held.moved) {
      held.moved = true;
      poser.part.value = grip.part;
      poser.held.value = grip.id;
    }
    if (grip.does === "swing") {
      held.deg += swung(x - held.last.x, y - held.last.y, grip);
      held.deg = Math.min(400, Math.max(-400, held.deg));
      poser.moveJoint(3 * house.robot.legs.length + grip.index, held.deg, gesture);
    } else {
      const step = poser.inStance(stepOf(grip.does, held.sight, dx, dy));
      if (grip.index >= 0) poser.dragFoot(grip.index, [held.foot[0] + step[0], held.foot[1] + step[1], held.foot[2] + step[2]], gesture);
      else poser.moveBody(bodyWish(grip.does, held.body, step, house.robot), gesture);
    }
    held.last.x = x;
    held.last.y = y;
    view.ask();
  };

  /** Degrees by which a joint follows the hand: as its tip goes in the picture. */
  const swung = (dx: number, dy: number, grip: Grip): number => {
    const state = view.shown();
    if (!state || !house) return 0;
    const joint = 3 * house.robot.legs.length + grip.index;
    const at = (deg: number): Spot => {
      const joints = state.joints_deg.map((value, i) => (i === joint ? value + deg : value));
      const spot = { x: 0, y: 0 };
      view.project(whereIs(grip, house.robot, shape(house.robot, joints), state.body), spot);
      return spot;
    };
    const [a, b] = [at(-1), at(1)];
    const [vx, vy] = [(b.x - a.x) / 2, (b.y - a.y) / 2];
    const speed = vx * vx + vy * vy;
    return speed > 0.02 ? Math.min(30, Math.max(-30, (dx * vx + dy * vy) / speed)) : -dx * SWING;
  };

  const lift = (event: TargetedPointerEvent<HTMLElement>): void => {
    const held = drag.current;
    if (!held || held.finger !== event.pointerId) return;
    drag.current = null;
    poser.part.value = held.grip.part;
    poser.settle();
    beads.current.get(held.grip.id)?.focus({ preventScroll: true });
    view.ask();
  };

  const keyed = useRef<string | null>(null);
  const press = (grip: Grip, event: TargetedKeyboardEvent<HTMLButtonElement>): void => {
    const way = KEY_STEPS[event.key];
    const now = poser.now.peek();
    if (!way || !now || !house || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    const size = event.shiftKey !== poser.fine.peek() ? FINE_STEP : COARSE_STEP;
    keyed.current ??= poser.gesture();
    const gesture = keyed.current;
    poser.part.value = grip.part;
    poser.held.value = grip.id;
    const by = way.map((value) => value * size) as unknown as Vec3;
    const { body } = now;
    if (grip.does === "swing") {
      const joint = 3 * house.robot.legs.length + grip.index;
      poser.moveJoint(joint, (now.joints[joint] ?? 0) + by[0] + by[1] + by[2], gesture);
    } else if (grip.index >= 0) {
      const foot = now.feet[grip.index] ?? [0, 0, 0];
      poser.moveFoot(grip.index, [foot[0] + by[0], foot[1] + by[1], foot[2] + by[2]], gesture);
    } else if (grip.does === "lean") poser.moveBody({ roll_deg: body[3] - by[1], pitch_deg: body[4] + by[0] }, gesture);
    else if (grip.does === "turn") poser.moveBody({ yaw_deg: body[5] + by[1] }, gesture);
    else poser.moveBody({ x_mm: body[0] + by[0], y_mm: body[1] + by[1], z_mm: body[2] + by[2] }, gesture);
    view.ask();
  };
  const release = (): void => {
    if (keyed.current === null) return;
    keyed.current = null;
    poser.settle();
  };

  const away = useComputed(() => `grips${maker.player.playing.value ? " playing" : ""}${poser.walks.value ? " walking" : ""}`);
  const says = useComputed(() => heldWords(poser, house));
  const shown = useComputed(() => (poser.held.value === "" || poser.held.value.startsWith("pad") ? "grip-tag" : "grip-tag shown"));
  if (!house) return <></>;
  return (
    <div class={away} role="group" aria-label="The robot's parts, to be moved" onPointerDown={begin} onPointerMove={move} onPointerUp={lift} onPointerCancel={lift} onLostPointerCapture={lift}>
      <svg class="grip-cords" aria-hidden="true">
        <path class="cords" ref={cords} />
        <path class="pull" ref={pull} />
        {house.robot.joints.map((name, i) => (
          <g
            key={name}
            class="strain"
            ref={(mark) => {
              marks.current[i] = mark;
            }}
          >
            <path d="M0-11 9 6H-9z" />
            <path class="bar" d="M-11 10H11" />
          </g>
        ))}
      </svg>
      {grips.map((grip) => (
        <button
          key={grip.id}
          type="button"
          class={`grip ${grip.does}${grip.part === part ? " chosen" : ""}${grip.index < 0 ? " body" : ""}`}
          tabIndex={grip.part === part ? 0 : -1}
          data-keys="own"
          data-grip={grip.id}
          aria-label={grip.label}
          aria-describedby="grips-how"
          ref={(bead) => {
            if (bead) beads.current.set(grip.id, bead);
            else beads.current.delete(grip.id);
          }}
          onKeyDown={(event) => press(grip, event)}
          onKeyUp={release}
          onBlur={release}
          onClick={() => {
            poser.part.value = grip.part;
          }}
        >
          <svg viewBox="-14 -14 28 28" aria-hidden="true">
            {LOOKS[grip.does]}
          </svg>
        </button>
      ))}
      <p id="grips-how" class="unseen">
        Drag it, or move it by arrow keys and Page Up and Down; with Shift in smaller steps.
      </p>
      <div class={shown} aria-hidden="true">
        <p>{says}</p>
        <Report />
      </div>
    </div>
  );
}

/** Beads have shapes of their own for what they do: a lantern's drop, a flat stone, a mast's knob, a pennant. */
const LOOKS: Record<Grip["does"], JSX.Element> = {
  lift: (
    <>
      <circle class="bead" r="10" />
      <path class="way" d="M0-5V5M-3-2.5 0-5.5 3-2.5" />
    </>
  ),
  floor: <ellipse class="bead" rx="12.5" ry="7" />,
  lean: <path class="bead" d="M0-12 8-3A9 9 0 1 1-8-3z" />,
  turn: <path class="bead" d="M-9-9 11 0-9 9-4 0z" />,
  swing: <rect class="bead" x="-9" y="-9" width="18" height="18" rx="5" transform="rotate(45)" />,
};

function heldWords(poser: ReturnType<typeof usePoser>, house: ReturnType<typeof useMaker>["house"]["value"]): string {
  const now = poser.now.value;
  const part = poser.part.value;
  const end = poser.ends.value ? ", as far as it goes" : "";
  if (!now || !house) return "";
  const whole = (value: number): string => String(Math.round(value) + 0);
  if (part === "body") {
    const [x, y, z, roll, pitch, yaw] = now.body;
    const turns = roll || pitch || yaw ? `, leaning ${whole(roll)}° ${whole(pitch)}°, turned ${whole(yaw)}°` : "";
    return `Body ${whole(x)} forward, ${whole(y)} left, ${whole(z)} up${turns}${end}`;
  }
  const name = part.slice(part.indexOf(":") + 1);
  const leg = house.robot.legs.findIndex((each) => each.name === name);
  if (part.startsWith("leg:")) {
    const [x, y, z] = now.feet[leg] ?? [0, 0, 0];
    return `Foot ${whole(x)} forward, ${whole(y)} left, ${whole(z)} up${end}`;
  }
  return `${name.replaceAll("_", " ")} ${whole(now.joints[house.robot.joints.indexOf(name)] ?? 0)}°${end}`;
}
