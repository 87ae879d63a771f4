/**
 * A hand on the pose at the player's time: what it holds, where that is now, and how it may move. Whatever it does is a
 * key at that time. It is worked out here from the document alone, so that it follows the hand at once; what the hub
 * says of it (torque, margin, how the whole move goes) comes a moment later.
 */

import { computed, effect, signal } from "@preact/signals";
import type { Vec3 } from "../../kinematics.ts";
import type { State } from "../../messages.gen.ts";
import type { Maker } from "../client.ts";
import { BODY_AXES, type BodyAxis, type Channel, channels, FOOT_AXES, type Lane, LEG_PARTS, type Offset, over, type Pose, poseOf } from "../document.ts";
import { likeLeg, mirrored, oppositeOf, side } from "../mirror.ts";
import { type Body, footOffsets, legReaches, resisting } from "../reach.ts";
import { type House, placedKeys, placedWalks } from "../sheet.ts";
import { jointsAt, tracksOf, valueAt } from "../tracks.ts";
import { otherWay } from "./performance.ts";
import { Performer } from "./performer.ts";
import { bodyReaches, bodyResisting } from "./reaching.ts";

/** A key this near to the player's time is the one that is meant: half a frame. */
const SAME_MS = 10;
/** A foot that is dragged this near to the ground is put on it. */
const GROUND_MM = 3;

/** Where everything is at the player's time, in mm and degrees. */
export interface Now {
  body: Body;
  joints: readonly number[];
  /** Per leg, how far its foot is from where it stands at rest. */
  feet: readonly Vec3[];
  /** Per leg, how far its foot is from where it should be: more than 0 where it cannot get there. */
  misses: readonly number[];
  /** Per leg, whether its joints are keyed rather than its foot. */
  byJoints: readonly boolean[];
}

/** What came of a wish: where it got to, and whether that is less than was wished. */
export interface Got<T> {
  at: T;
  ends: boolean;
}

export class Poser {
  readonly maker: Maker;
  readonly part = signal<Lane>("body");
  /** Steps of keys and buttons are small. */
  readonly fine = signal(false);
  /** What a hand holds in the 3D view or on a pad; empty when nothing. */
  readonly held = signal("");
  /** What was moved last is as far as it goes. */
  readonly ends = signal(false);
  /** The player's time whenever it stands still: nothing here is worked out anew for each picture of a preview. */
  readonly when = signal(0);
  readonly performer: Performer;

  readonly #tracks = computed(() => {
    const [doc, house] = [this.maker.doc.value, this.maker.house.value];
    return doc && house ? tracksOf(doc, house) : null;
  });
  readonly now = computed<Now | null>(() => {
    const [tracks, house] = [this.#tracks.value, this.maker.house.value];
    if (!tracks || !house) return null;
    const ms = this.when.value;
    const { joints_deg, misses_mm } = jointsAt(tracks, house, ms);
    const body = BODY_AXES.map((axis) => valueAt(tracks, `body.${axis}`, ms) ?? 0) as unknown as Body;
    const byJoints = house.robot.legs.map(({ name }) => LEG_PARTS.some((part) => valueAt(tracks, `joints_deg.${name}.${part}`, ms) !== null));
    return { body, joints: joints_deg, misses: misses_mm, feet: footOffsets(house, joints_deg, body), byJoints };
  });
  /** It walks at this moment: its legs go by the gait, and where they are the hub says. */
  readonly walks = computed(() => {
    const sheet = this.maker.sheet.value;
    const ms = this.when.value;
    return sheet !== null && placedWalks(sheet).some(({ from, to }) => ms > from && ms < to);
  });
  /** The keyframe at this moment, by its number; null where there is none. */
  readonly key = computed(() => {
    const sheet = this.maker.sheet.value;
    const ms = this.when.value;
    return (sheet && placedKeys(sheet).find((key) => Math.abs(key.ms - ms) <= SAME_MS)?.id) ?? null;
  });

  /** From the frame in which the feet stand at rest to the ground: where it has walked to, as the hub said last. */
  #ground = { x: 0, y: 0, z: 0, yaw: 0 };
  #gestures = 0;
  /** The feet as they were when the body was taken hold of. */
  #began: { gesture: string; feet: readonly Vec3[] } = { gesture: "", feet: [] };

  constructor(maker: Maker) {
    this.maker = maker;
    this.performer = new Performer(maker, this);
    effect(() => {
      if (!maker.player.playing.value) this.when.value = maker.player.at.value;
    });
    effect(() => {
      if (maker.player.playing.value || maker.stale.value) return;
      const [moment, now, house] = [maker.moment.value, this.now.value, maker.house.value];
      if (!moment || !now || !house) return;
      const yaw = moment.body[5] - now.body[5];
      const [x, y] = turned([now.body[0], now.body[1]], yaw);
      const z = moment.body[2] - now.body[2] - house.robot.rest_height_mm;
      this.#ground = { x: moment.body[0] - x, y: moment.body[1] - y, z, yaw };
    });
  }

  /** A name for one drag: all of it is one step for Undo. */
  gesture(): string {
    return `pose ${++this.#gestures}`;
  }

  settle(): void {
    this.held.value = "";
    this.ends.value = false;
    // A performance is one step as a whole.
    if (!this.performer.runs) this.maker.settle();
  }

  /** A step over the ground, as the robot's own forward and left at rest have it. */
  inStance([x, y, z]: Vec3): Vec3 {
    const [sx, sy] = turned([x, y], -this.#ground.yaw);
    return [sx, sy, z];
  }

  /** The pose as the stage shows the robot, while the hub has not yet said how the move goes; null when it has. */
  figure(live: State): State | null {
    const { maker } = this;
    if (maker.player.playing.value || this.walks.value) return null;
    if (this.held.value === "" && !maker.stale.value) return null;
    const [now, house] = [this.now.value, maker.house.value];
    if (!now || !house) return null;
    const { x, y, z, yaw } = this.#ground;
    const [bx, by] = turned([now.body[0], now.body[1]], yaw);
    const body: State["body"] = [x + bx, y + by, z + now.body[2] + house.robot.rest_height_mm, now.body[3], now.body[4], now.body[5] + yaw];
    const { com_mm, margin_mm, outputs } = maker.moment.value ?? live;
    return { ...live, joints_deg: [...now.joints], body, down: now.feet.map((foot) => foot[2] < 1), com_mm, margin_mm, outputs };
  }

  // ---------------------------------------------------------------- moving parts

  #write(pose: Pose, gesture: string | null): boolean {
    const { player, sheet } = this.maker;
    if (!sheet.value) return false;
    player.pause();
    const at = player.at.peek();
    const near = placedKeys(sheet.value).find((key) => Math.abs(key.ms - at) <= SAME_MS);
    const at_ms = near?.ms ?? Math.round(at);
    const show = this.performer.takes(pose);
    const all = show?.pose ?? pose;
    const done = this.maker.do({ do: "key", at_ms: show?.at_ms ?? at_ms, pose: all, free: otherWay(all) }, show?.gesture ?? gesture);
    if (done && !show && player.at.peek() !== at_ms) player.seek(at_ms);
    return done;
  }

  /** Puts a foot so far from its place at rest, or as near to there as its leg gets. */
  moveFoot(leg: number, wanted: Vec3, gesture: string | null): Got<Vec3> {
    const [now, house] = [this.now.peek(), this.maker.house.peek()];
    const name = house?.robot.legs[leg]?.name;
    if (!now || !house || name === undefined) return { at: wanted, ends: false };
    const reaches = (at: Vec3): boolean => legReaches(house, now.body, leg, at);
    const was = ([now.feet[leg], [0, 0, 0]] as (Vec3 | undefined)[]).find((at) => at && reaches(at));
    const found = was ? resisting(house, now.body, leg, was, wanted) : wanted;
    const at = tidy(found, was ?? found, reaches) as unknown as Vec3;
    this.#write({ feet: { [name]: { x_mm: at[0], y_mm: at[1], z_mm: at[2] } } }, gesture);
    return this.#got(at, wanted);
  }

  /** As moveFoot, for a hand in the picture: never below the ground, and on it when it is near. */
  dragFoot(leg: number, [x, y, z]: Vec3, gesture: string): Got<Vec3> {
    return this.moveFoot(leg, [x, y, z < GROUND_MM ? 0 : z], gesture);
  }

  /**
   * Moves and turns the body as far as the legs that stand let it, with their feet where they are. A foot in the air
   * stays where it is, too, unless its leg does not reach there any more: then it goes along.
   */
  moveBody(wish: Partial<Record<BodyAxis, number>>, gesture: string | null): Got<Body> {
    const [now, house] = [this.now.peek(), this.maker.house.peek()];
    const wanted = BODY_AXES.map((axis, i) => wish[axis] ?? now?.body[i] ?? 0) as unknown as Body;
    if (!now || !house) return { at: wanted, ends: false };
    if (gesture === null || this.#began.gesture !== gesture) this.#began = { gesture: gesture ?? "", feet: now.feet };
    const { feet } = this.#began;
    // Where its joints are keyed, a leg goes along with the body and holds nothing.
    const byFoot = now.byJoints.flatMap((own, leg) => (own ? [] : [leg]));
    const stand = byFoot.filter((leg) => (feet[leg]?.[2] ?? 0) < GROUND_MM);
    const reaches = (at: Body): boolean => bodyReaches(house, at, stand, feet);
    const found = bodyResisting(house, stand, feet, now.body, wanted);
    const at = reaches(found) ? (tidy(found, now.body, reaches) as Body) : (found.map(tenth) as unknown as Body);
    const along = byFoot.flatMap((leg): [string, Offset][] => {
      const foot = feet[leg] ?? [0, 0, 0];
      if (stand.includes(leg) || legReaches(house, at, leg, foot)) return [];
      const from = [now.feet[leg], [0, 0, foot[2] / 2], [0, 0, 0]].find((each) => each && legReaches(house, at, leg, each as Vec3)) as Vec3 | undefined;
      if (!from) return [];
      const near = (each: Vec3): boolean => legReaches(house, at, leg, each);
      const [x_mm = 0, y_mm = 0, z_mm = 0] = tidy(resisting(house, at, leg, from, foot), from, near);
      return [[house.robot.legs[leg]?.name ?? "", { x_mm, y_mm, z_mm }]];
    });
    const keyed = BODY_AXES.flatMap((axis, i) => (wish[axis] === undefined ? [] : [[axis, at[i] as number] as const]));
    this.#write({ body: Object.fromEntries(keyed), ...(along.length > 0 && { feet: Object.fromEntries(along) }) }, gesture);
    return this.#got(at, wanted);
  }

  /** Turns a joint within its range. One of a leg takes the leg's other joints along, as they are. */
  moveJoint(joint: number, wanted: number, gesture: string | null): Got<number> {
    const [now, house] = [this.now.peek(), this.maker.house.peek()];
    if (!now || !house) return { at: wanted, ends: false };
    const { robot, maker } = house;
    const [low, high] = [maker.low_deg[joint] ?? -360, maker.high_deg[joint] ?? 360];
    // Towards the inside: a rounded end would be beyond it.
    const at = Math.min(Math.floor(high * 10) / 10, Math.max(Math.ceil(low * 10) / 10, tenth(wanted))) + 0;
    const own = joint < 3 * robot.legs.length ? [0, 1, 2].map((k) => 3 * Math.floor(joint / 3) + k) : [joint];
    const joints = own.map((i) => [robot.joints[i] as string, i === joint ? at : hundredth(now.joints[i] ?? 0)] as const);
    this.#write({ joints_deg: Object.fromEntries(joints) }, gesture);
    return this.#got(at, wanted);
  }

  #got<T extends number | readonly number[]>(at: T, wanted: T): Got<T> {
    const [a, b] = [[at].flat(), [wanted].flat()] as number[][];
    const ends = (a ?? []).some((value, i) => Math.abs(value - ((b ?? [])[i] ?? value)) > 0.6);
    this.ends.value = ends;
    return { at, ends };
  }

  // ---------------------------------------------------------------- the whole pose

  /** All that can be said of this moment: body, every leg by its foot or its joints, the joints besides. */
  whole(): Pose {
    const [now, house] = [this.now.peek(), this.maker.house.peek()];
    if (!now || !house) return {};
    const { robot } = house;
    const found: [Channel, number][] = BODY_AXES.map((axis, i) => [`body.${axis}`, hundredth(now.body[i] as number)]);
    robot.legs.forEach(({ name }, leg) => {
      const foot = now.feet[leg] ?? [0, 0, 0];
      if (now.byJoints[leg]) LEG_PARTS.forEach((part, k) => found.push([`joints_deg.${name}.${part}`, hundredth(now.joints[3 * leg + k] ?? 0)]));
      else FOOT_AXES.forEach((axis, k) => found.push([`feet.${name}.${axis}`, hundredth(foot[k as 0 | 1 | 2])]));
    });
    for (let i = 3 * robot.legs.length; i < robot.joints.length; i++) found.push([`joints_deg.${robot.joints[i]}`, hundredth(now.joints[i] ?? 0)]);
    return poseOf(found);
  }

  /** A pose less what the move has never moved and this does not either. */
  #telling(pose: Pose): Pose {
    const house = this.maker.house.peek();
    const tracks = this.#tracks.peek();
    const first = 3 * (house?.robot.legs.length ?? 0);
    return poseOf(
      [...channels(pose)].filter(([channel, value]) => {
        const joint = house?.robot.joints.indexOf(channel.slice(11)) ?? -1;
        const rest = channel.startsWith("joints_deg.") && joint >= first ? (house?.maker.rest_deg[joint] ?? 0) : 0;
        const legsJoint = channel.startsWith("joints_deg.") && joint >= 0 && joint < first;
        return tracks?.has(channel) || legsJoint || Math.abs(value - rest) > 1e-6;
      }),
    );
  }

  /** Keys a pose at this moment. */
  take(pose: Pose): boolean {
    return this.#write(pose, null);
  }

  /** Left becomes right and right left, as the robot stands at this moment. */
  mirror(): void {
    const house = this.maker.house.peek();
    if (house) this.take(this.#telling(mirrored(house.robot, this.whole())));
  }

  /** Other legs as this one is. */
  copyLeg(from: string, to: "opposite" | "all"): void {
    const house = this.maker.house.peek();
    if (!house) return;
    const other = oppositeOf(house.robot, from);
    const legs = to === "all" ? house.robot.legs.map(({ name }) => name) : other ? [other] : [];
    const whole = this.whole();
    const pose = legs.filter((leg) => leg !== from).map((leg) => likeLeg(house.robot, whole, from, leg)).reduce(over, {});
    this.take(over(pose, this.#ofLane(`leg:${from}`)));
  }

  /** Back to how it stands at rest. */
  rest(what: Lane | "left" | "right" | "all"): void {
    const house = this.maker.house.peek();
    if (!house) return;
    const { robot, maker } = house;
    const found: [Channel, number][] = [];
    if (what === "all" || what === "body") for (const axis of BODY_AXES) found.push([`body.${axis}`, 0]);
    for (const leg of robot.legs) {
      if (what === "all" || what === side(leg) || what === `leg:${leg.name}`) for (const axis of FOOT_AXES) found.push([`feet.${leg.name}.${axis}`, 0]);
    }
    for (let i = 3 * robot.legs.length; i < robot.joints.length; i++) {
      if (what === "all" || what === `joint:${robot.joints[i]}`) found.push([`joints_deg.${robot.joints[i]}`, maker.rest_deg[i] ?? 0]);
    }
    this.take(poseOf(found));
  }

  /** The foot of the leg that is held onto the ground, or all that are off it. */
  ground(): void {
    const [now, house, part] = [this.now.peek(), this.maker.house.peek(), this.part.peek()];
    if (!now || !house) return;
    const off = house.robot.legs.flatMap(({ name }, leg) => {
      const [x, y, z] = now.feet[leg] ?? [0, 0, 0];
      const meant = !part.startsWith("leg:") || part === `leg:${name}`;
      return meant && Math.abs(z) > 0.05 ? [[name, { x_mm: hundredth(x), y_mm: hundredth(y), z_mm: 0 }] as const] : [];
    });
    if (off.length > 0) this.take({ feet: Object.fromEntries(off) });
    else this.maker.unable.value = part.startsWith("leg:") ? "That foot is on the ground." : "All feet are on the ground.";
  }

  /** Keys a part as it is at this moment: until here it is as before, and what follows goes from here. */
  pin(part: Lane | "all"): void {
    this.take(part === "all" ? this.#telling(this.whole()) : this.#ofLane(part));
  }

  #ofLane(part: Lane): Pose {
    const whole = this.whole();
    if (part === "body") return { body: whole.body ?? {} };
    const name = part.slice(part.indexOf(":") + 1);
    const joints = Object.entries(whole.joints_deg ?? {}).filter(([joint]) => joint === name || joint.startsWith(`${name}.`));
    const foot = part.startsWith("leg:") ? whole.feet?.[name] : undefined;
    return { ...(foot && { feet: { [name]: foot } }), ...(joints.length > 0 && { joints_deg: Object.fromEntries(joints) }) };
  }

  /** Keeps the pose of this moment under a name, in this move or for every move; returns whether it could. */
  keepPose(name: string, everywhere: boolean): boolean {
    const pose = this.#telling(this.whole());
    const kept = channels(pose).size > 0 ? pose : { body: this.whole().body ?? {} };
    if (!this.maker.do({ do: "name-pose", name, pose: kept })) return false;
    if (everywhere) this.maker.savePose(name, kept);
    return true;
  }

  /** Has this moment take a pose by its name: when the pose is changed, so is this. */
  usePose(name: string): void {
    const { player, sheet } = this.maker;
    player.pause();
    const key = this.key.peek();
    if (key !== null) this.maker.do({ do: "use-pose", key, name });
    else if (sheet.value) this.maker.do({ do: "paste", clip: [{ ms: 0, pose: {}, named: name }], at_ms: Math.round(player.at.peek()) });
  }
}

const posers = new WeakMap<Maker, Poser>();

/** The hand that poses the move in the making. */
export function poserOf(maker: Maker): Poser {
  const known = posers.get(maker);
  if (known) return known;
  const poser = new Poser(maker);
  posers.set(maker, poser);
  return poser;
}

/** Who can be posed: the body, each leg, each joint besides. */
export function partsOf(house: House): Lane[] {
  const first = 3 * house.robot.legs.length;
  return ["body", ...house.robot.legs.map(({ name }): Lane => `leg:${name}`), ...house.robot.joints.slice(first).map((name): Lane => `joint:${name}`)];
}

function turned([x, y]: readonly [number, number], deg: number): [number, number] {
  const [c, s] = [Math.cos((deg * Math.PI) / 180), Math.sin((deg * Math.PI) / 180)];
  return [c * x - s * y, s * x + c * y];
}

function tenth(value: number): number {
  return Math.round(value * 10) / 10 + 0;
}

function hundredth(value: number): number {
  return Math.round(value * 100) / 100 + 0;
}

/** In tenths where that is still within reach, towards where it came from if need be. */
function tidy<T extends readonly number[]>(found: T, was: T, reaches: (at: T) => boolean): readonly number[] {
  const near = found.map(tenth);
  if (reaches(near as unknown as T)) return near;
  const back = found.map((value, i) => (value > (was[i] as number) ? Math.floor(value * 10) / 10 : Math.ceil(value * 10) / 10) + 0);
  return reaches(back as unknown as T) ? back : found.map((value) => Math.round(value * 1e4) / 1e4 + 0);
}
