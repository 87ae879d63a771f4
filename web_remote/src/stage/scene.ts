/** The live 3D view: drawn when a state or a look has changed, and only while somebody can see it. */

import { DirectionalLight, HemisphereLight, PerspectiveCamera, Scene as Theatre, Vector3, WebGLRenderer } from "three";
import { feetOnGround, shape, type Vec3 } from "../kinematics.ts";
import type { RobotInfo, State } from "../messages.gen.ts";
import { Figure } from "./figure.ts";
import { Pointer } from "./pointer.ts";
import { Floor } from "./floor.ts";
import { eye, FIRST, followLook } from "./orbit.ts";
import { readPalette } from "./palette.ts";
import type { View } from "./view.ts";

export interface Scene {
  readonly view: View;
  /** Draws a state; points at the joint of a number, or at none with -1. */
  show(robot: RobotInfo, state: State, pointed?: number): void;
  end(): void;
}

const FIELD_DEG = 28;

/** How far away the eye has to be to see all of a robot `span` mm to each side, in a picture of this aspect. */
function whole(span: number, height: number, above: number, aspect: number): number {
  const field = Math.tan((FIELD_DEG * Math.PI) / 360);
  // Above the trunk there is room for a leg that waves.
  const tall = span * Math.sin(above) + 1.3 * height * Math.cos(above);
  return Math.max(tall / field, (span * 1.08) / (field * aspect)) + span * 0.3;
}

const tenths = (values: readonly number[]): number[] => values.map((value) => Math.round(value * 10));

/** Begins drawing on a canvas. Throws where there is no WebGL. */
export function makeScene(canvas: HTMLCanvasElement): Scene {
  const renderer = new WebGLRenderer({ canvas, alpha: true, antialias: true, powerPreference: "low-power" });
  renderer.setClearAlpha(0);
  const theatre = new Theatre();
  const camera = new PerspectiveCamera(FIELD_DEG, 1, 20, 8000);
  camera.up.set(0, 0, 1);
  const sun = new DirectionalLight(0xfff1d6, 2.1);
  sun.position.set(-0.4, 0.7, 1.2);
  theatre.add(new HemisphereLight(0xfff6e6, 0xb09878, 1.9), sun);

  const still = matchMedia("(prefers-reduced-motion: reduce)");
  const dark = matchMedia("(prefers-color-scheme: dark)");

  let robot: RobotInfo | null = null;
  let figure: Figure | null = null;
  const pointer = new Pointer();
  let floor: Floor | null = null;
  let shown = "";
  let look = FIRST;
  let span = 300;
  let lookAt: Vec3 = [0, 0, 0];
  let body: Vec3 = [0, 0, 0];
  let due = 0;
  /** Of the picture. Asked of the canvas it would be laid out anew for every bead that is placed. */
  let [width, height] = [0, 0];
  let now: State | null = null;
  const point = new Vector3();

  const ask = (): void => {
    if (due === 0 && !document.hidden) due = requestAnimationFrame(draw);
  };

  const draw = (): void => {
    due = 0;
    if (!robot || width === 0 || height === 0) return;
    // The eye follows the robot softly, so that its steps are seen.
    const share = still.matches ? 1 : 0.12;
    let [dx, dy] = [body[0] - lookAt[0], body[1] - lookAt[1]];
    if (view.drawn) {
      // Under a hand the eye stays where it is until the robot walks away: else nothing would seem to move.
      const rest = Math.max(0, 1 - (span * 0.35) / Math.max(1, Math.hypot(dx, dy)));
      [dx, dy] = [dx * rest, dy * rest];
    }
    lookAt = [lookAt[0] + dx * share, lookAt[1] + dy * share, robot.rest_height_mm * 0.55];
    const [ex, ey, ez] = eye(look, whole(span, robot.rest_height_mm, look.above, camera.aspect) * look.away);
    camera.position.set(lookAt[0] + ex, lookAt[1] + ey, lookAt[2] + ez);
    camera.lookAt(...lookAt);
    floor?.face(look.around);
    renderer.render(theatre, camera);
    view.drawn?.();
    if (Math.hypot(dx, dy) * (1 - share) > 0.3) ask();
  };

  const view: View = {
    project([x, y, z], spot) {
      point.set(x, y, z).project(camera);
      spot.x = ((point.x + 1) / 2) * width;
      spot.y = ((1 - point.y) / 2) * height;
    },
    sight([x, y, z]) {
      const depth = -point.set(x, y, z).applyMatrix4(camera.matrixWorldInverse).z;
      const tall = 2 * Math.tan((FIELD_DEG * Math.PI) / 360) * depth;
      const [c, s] = [Math.cos(look.around), Math.sin(look.around)];
      return { mm_per_px: tall / Math.max(1, height), right: [-s, c], away: [-c, -s], above: look.above };
    },
    shown: () => now,
    drawn: null,
    ask,
  };

  const colour = (): void => {
    const palette = readPalette(canvas);
    figure?.colour(palette);
    pointer.colour(palette);
    floor?.colour(palette);
    shown = "";
    ask();
  };

  const build = (made: RobotInfo): void => {
    for (const old of [figure, floor]) {
      if (!old) continue;
      theatre.remove(old.group);
      old.dispose();
    }
    robot = made;
    span = Math.max(
      120,
      ...made.legs.map(({ hip_mm: [x, y], coxa_mm, femur_mm, tibia_mm }) =>
        Math.hypot(x, y) + coxa_mm + femur_mm + tibia_mm * 0.2,
      ),
    );
    figure = new Figure(made);
    floor = new Floor(made.legs.length, span, made.body_size_mm);
    figure.group.add(pointer.group);
    theatre.add(floor.group, figure.group);
    colour();
  };

  const size = new ResizeObserver(() => {
    [width, height] = [canvas.clientWidth, canvas.clientHeight];
    if (width === 0 || height === 0) return;
    renderer.setPixelRatio(Math.min(2, window.devicePixelRatio));
    renderer.setSize(width, height, false);
    camera.aspect = width / height;
    camera.updateProjectionMatrix();
    // At once: a resized canvas is empty until it is drawn again.
    draw();
  });
  size.observe(canvas);

  const off = new AbortController();
  const leave = followLook(
    canvas,
    () => look,
    (to) => {
      look = to;
      ask();
    },
  );
  dark.addEventListener("change", colour, { signal: off.signal });
  document.addEventListener("visibilitychange", ask, { signal: off.signal });

  return {
    view,
    show(made, state, pointed = -1) {
      if (made !== robot) build(made);
      now = state;
      // What nobody could see is not drawn anew: a move's own rounding, beside what is worked out here under a hand.
      const drawing = JSON.stringify([tenths(state.joints_deg), tenths(state.body), state.down, tenths(state.com_mm), state.outputs, pointed]);
      if (drawing === shown || !figure || !floor) return;
      shown = drawing;
      const [x, y, z, roll, pitch, yaw] = state.body;
      const deg = Math.PI / 180;
      body = [x, y, z];
      figure.group.position.set(x, y, z);
      figure.group.rotation.set(roll * deg, pitch * deg, yaw * deg, "ZYX");
      figure.pose(state);
      pointer.show(made, state, pointed);
      const feet = feetOnGround(shape(made, state.joints_deg), state.body);
      floor.show(body, yaw * deg, feet, state.down, state.com_mm);
      ask();
    },
    end() {
      cancelAnimationFrame(due);
      off.abort();
      leave();
      size.disconnect();
      figure?.dispose();
      pointer.dispose();
      floor?.dispose();
      renderer.dispose();
    },
  };
}
