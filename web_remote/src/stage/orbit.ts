/** Where one looks from: around, up and down, near and far. Angles in radians, distance in mm. */

export interface Look {
  /** From the robot to the eye, about +z from +x. */
  around: number;
  /** Above the ground. */
  above: number;
  /** 1 shows the whole robot; smaller is nearer. */
  away: number;
}

/** From behind and a little to the left, so that forward leads into the picture. */
export const FIRST: Look = { around: (-152 * Math.PI) / 180, above: (30 * Math.PI) / 180, away: 1 };

const LOWEST = 0.03;
const HIGHEST = 1.54;

export function turned({ around, above, away }: Look, byAround: number, byAbove: number): Look {
  const turn = 2 * Math.PI;
  return {
    around: (((around + byAround) % turn) + turn) % turn,
    above: Math.min(HIGHEST, Math.max(LOWEST, above + byAbove)),
    away,
  };
}

export function nearer(look: Look, factor: number): Look {
  return { ...look, away: Math.min(3, Math.max(0.35, look.away * factor)) };
}

/** The eye's place relative to what it looks at. */
export function eye({ around, above }: Look, distance: number): [number, number, number] {
  const level = distance * Math.cos(above);
  return [level * Math.cos(around), level * Math.sin(around), distance * Math.sin(above)];
}

const STEP = (6 * Math.PI) / 180;

const KEYS: Readonly<Record<string, (look: Look) => Look>> = {
  ArrowLeft: (look) => turned(look, -STEP, 0),
  ArrowRight: (look) => turned(look, STEP, 0),
  ArrowUp: (look) => turned(look, 0, STEP),
  ArrowDown: (look) => turned(look, 0, -STEP),
  "+": (look) => nearer(look, 0.9),
  "=": (look) => nearer(look, 0.9),
  "-": (look) => nearer(look, 1 / 0.9),
  "0": () => FIRST,
};

/** Follows drags, pinches, the wheel and keys on an element; returns how to leave off. */
export function followLook(element: HTMLElement, get: () => Look, set: (look: Look) => void): () => void {
  const fingers = new Map<number, { x: number; y: number }>();
  const spread = (): number => {
    const [a, b] = [...fingers.values()];
    return a && b ? Math.hypot(a.x - b.x, a.y - b.y) : 0;
  };
  const off = new AbortController();
  const listen = <K extends keyof HTMLElementEventMap>(
    type: K,
    listener: (event: HTMLElementEventMap[K]) => void,
    passive = true,
  ): void => element.addEventListener(type, listener, { signal: off.signal, passive });

  listen("pointerdown", (event) => {
    element.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
  });
  listen("pointermove", (event) => {
    const was = fingers.get(event.pointerId);
    if (!was) return;
    const before = spread();
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (fingers.size > 1) {
      const after = spread();
      if (before > 0 && after > 0) set(nearer(get(), before / after));
      return;
    }
    const scale = Math.PI / Math.max(200, element.clientWidth);
    set(turned(get(), (was.x - event.clientX) * scale, (event.clientY - was.y) * scale));
  });
  const lift = (event: PointerEvent): void => {
    fingers.delete(event.pointerId);
  };
  listen("pointerup", lift);
  listen("pointercancel", lift);
  listen("lostpointercapture", lift);
  listen("dblclick", () => set(FIRST));
  listen(
    "wheel",
    (event) => {
      event.preventDefault();
      set(nearer(get(), Math.exp(event.deltaY * 0.001)));
    },
    false,
  );
  listen(
    "keydown",
    (event) => {
      const step = KEYS[event.key];
      if (!step || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      set(step(get()));
    },
    false,
  );
  return () => off.abort();
}
