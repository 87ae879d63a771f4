/**
 * The remote without its screen: what the hub says becomes signals, what people do becomes messages.
 * Everything the cards show is derived from here.
 */

import { computed, effect, signal } from "@preact/signals";
import type { ComponentType } from "preact";
import { type Able, type Bar, bar, inControl, mayCommand, mayDrive, mayPlay, type Situation } from "./able.ts";
import { Asked } from "./asked.ts";
import type { Clock } from "./clock.ts";
import { DriveSender } from "./drive.ts";
import { Footfall } from "./footfall.ts";
import { Latest } from "./latest.ts";
import { type Limit, SteadyLimit } from "./limit.ts";
import { type Connection, HubLink, type Socket } from "./link.ts";
import type {
  Bringup,
  FromBrowser,
  FlightTold,
  FromHub,
  MoveInfo,
  Notice,
  Posture,
  RecordingInfo,
  RobotKeeps,
  Refused,
  RobotInfo,
  ShowChecked,
  State,
  SupplyTold,
  Welcome,
} from "./messages.gen.ts";
import { settled } from "./settled.ts";
import type { View } from "./stage/view.ts";
import { sentence } from "./words.ts";

/** A lease of control lapses after two seconds without a word; this is said four times in that. */
export const PING_MS = 500;
/** How long a notice stays, unless it is about an error: that one is put away by hand. */
export const NOTICE_MS = 7000;
const NOTICES_AT_MOST = 3;

export interface Told extends Pick<Notice, "level" | "text"> {
  id: number;
}

export interface RemoteOptions {
  open: () => Socket;
  hello: () => { key: string; name: string };
  clock: Clock;
  random?: () => number;
}

export class Remote {
  readonly connection = signal<Connection>({ phase: "connecting" });
  readonly welcome = signal<Welcome | null>(null);
  readonly state = signal<State | null>(null);
  readonly moves = signal<MoveInfo[] | null>(null);
  readonly recordings = signal<RecordingInfo[] | null>(null);
  readonly bringup = signal<Bringup | null>(null);
  /** How the calibration that the robot keeps compares with the hub's. */
  readonly keeps = signal<RobotKeeps | null>(null);
  /** Whether the place for what comes before and after a show is open, and what the hub said about it. */
  readonly readies = signal(false);
  readonly checked = signal<ShowChecked | null>(null);
  readonly flight = signal<FlightTold | null>(null);
  readonly supply = signal<SupplyTold | null>(null);
  /** Whether the place for bring-up is open. */
  readonly brings = signal(false);
  /** The joint that the stage points at, by name. */
  readonly pointed = signal<string | null>(null);
  readonly notices = signal<Told[]>([]);
  /** A Stop was pressed that the hub has not had yet. */
  readonly stopOwed = signal(false);

  /** The move that is being made, in the place for it; null while that is closed. */
  readonly makes = signal<string | null>(null);
  /** Whether one of these places is open, and the stage direction is not in sight. */
  readonly elsewhere = computed(() => this.makes.value !== null || this.brings.value || this.readies.value);
  /** What the stage shows in place of the live robot: a moment of the move that is being made. */
  readonly figure = signal<State | null>(null);
  /** What is laid over the stage so that the figure can be taken hold of; null while it is only looked at. */
  readonly hands = signal<ComponentType<{ view: View }> | null>(null);
  /** Hears what the hub says about making moves, and refusals; set by what makes them, which is loaded when needed. */
  hearMaking: ((message: FromHub) => void) | null = null;

  readonly robot = computed<RobotInfo | null>(() => this.welcome.value?.robot ?? null);
  /** Which feet were down, tick by tick; changes with every state. */
  readonly footfall = new Footfall();
  /** What it is held back by, as it can be read: without the flicker of every step. */
  readonly limit = signal<Limit>("");
  readonly #situation = computed<Situation>(() => ({
    connection: this.connection.value,
    welcome: this.welcome.value,
    state: this.state.value,
  }));
  readonly inControl = computed(() => inControl(this.#situation.value));
  readonly mayCommand = settled<Able>(() => mayCommand(this.#situation.value));
  readonly mayPlay = settled<Able>(() => mayPlay(this.#situation.value));
  readonly mayDrive = settled<Able>(() => mayDrive(this.#situation.value));
  readonly bar = settled<Bar>(() => bar(this.#situation.value));

  /** What the driver has asked for; the hub keeps these. */
  readonly pace: Asked<number>;
  readonly posture: Asked<Carried>;
  readonly gait: Asked<string>;
  readonly footLift: Asked<number>;
  readonly leads: Asked<boolean>;

  readonly drive: DriveSender;
  readonly #link: HubLink;
  readonly #clock: Clock;
  readonly #paces: Latest<number>;
  readonly #postures: Latest<Carried>;
  readonly #lifts: Latest<number>;
  readonly #steadyLimit = new SteadyLimit();
  readonly #levels = new Map<string, Latest<number>>();
  #pings = 0;
  #pingOff = (): void => {};
  #told = 0;
  #ends: (() => void)[] = [];

  constructor(options: RemoteOptions) {
    this.#clock = options.clock;
    this.#link = new HubLink({
      ...options,
      receive: (message) => this.receive(message),
      changed: (connection) => {
        this.connection.value = connection;
        this.stopOwed.value = this.#link.stopOwed;
      },
    });
    this.drive = new DriveSender((message) => this.send(message, { stale: true }), options.clock);
    this.#paces = new Latest((share) => this.send({ type: "pace", share }), options.clock);
    this.#postures = new Latest((posture) => this.send({ type: "posture", ...posture }), options.clock);
    this.#lifts = new Latest((height_mm) => this.send({ type: "lift", height_mm }), options.clock);
    this.pace = new Asked(options.clock, () => this.state.value?.pace ?? 1);
    this.posture = new Asked(options.clock, () => carried(this.state.value));
    this.gait = new Asked(options.clock, () => this.state.value?.gait ?? "");
    this.footLift = new Asked(options.clock, () => this.state.value?.lift_mm ?? 0);
    this.leads = new Asked(options.clock, () => this.state.value?.leads ?? true);
  }

  start(): void {
    this.#ends = [
      effect(() => {
        if (!this.mayDrive.value.able) this.drive.letGoAll();
      }),
    ];
    this.#link.start();
    this.#ping();
  }

  end(): void {
    this.drive.letGoAll();
    for (const end of this.#ends) end();
    this.#ends = [];
    this.#pingOff();
    this.#link.end();
  }

  hurry(): void {
    this.#link.hurry();
  }

  /** Whether the page is looked at: a hidden one lets go, and its lease of control may lapse. */
  shown = true;

  show(shown: boolean): void {
    this.shown = shown;
    if (shown) this.hurry();
    else this.drive.letGoAll();
  }

  send(message: FromBrowser, options?: { stale?: boolean }): boolean {
    return this.#link.send(message, options);
  }

  stop(): void {
    this.drive.letGoAll();
    this.send({ type: "stop" });
    this.stopOwed.value = this.#link.stopOwed;
  }

  /** Lifts a stop, a limpness or a fault; where nobody drives, control is taken along. */
  lift(): void {
    const now = this.bar.value;
    if (now.does !== "lift") return;
    if (now.takes) this.send({ type: "take" });
    this.send({ type: "resume" });
  }

  setPace(share: number): void {
    this.pace.set(share);
    this.#paces.give(share);
  }

  /** Carry the body so from now on; what is not named stays as it is. */
  carry(some: Partial<Carried>): void {
    const posture = { ...this.posture.value.peek(), ...some };
    this.posture.set(posture);
    this.#postures.give(posture);
  }

  setGait(name: string): void {
    this.gait.set(name);
    this.send({ type: "gait", name });
  }

  setLift(height_mm: number): void {
    this.footLift.set(height_mm);
    this.#lifts.give(height_mm);
  }

  setLeads(on: boolean): void {
    this.leads.set(on);
    this.send({ type: "lead", on });
  }

  setOutput(output: string, level: number): void {
    let levels = this.#levels.get(output);
    if (!levels) {
      levels = new Latest((to) => this.send({ type: "set_output", output, level: to }), this.#clock);
      this.#levels.set(output, levels);
    }
    levels.give(level);
  }

  tell(level: Notice["level"], text: string): void {
    const told: Told = { id: ++this.#told, level, text };
    const others = this.notices.value.filter((notice) => notice.text !== text);
    this.notices.value = [...others, told].slice(-NOTICES_AT_MOST);
    if (level !== "error") this.#clock.after(NOTICE_MS, () => this.dismiss(told.id));
  }

  dismiss(id: number): void {
    this.notices.value = this.notices.value.filter((notice) => notice.id !== id);
  }

  /** Why the robot stood still is no news any more once it does not. */
  #isOver(before: string, now: string): void {
    if (before === now || before === "") return;
    this.notices.value = this.notices.value.filter(({ text }) => sentence(text) !== sentence(before));
  }

  receive(message: FromHub): void {
    switch (message.type) {
      case "welcome":
        this.state.value = null;
        this.welcome.value = message;
        break;
      case "state":
        this.footfall.hear(message);
        this.limit.value = this.#steadyLimit.hear(shownLimit(message), this.#clock.now());
        this.#isOver(this.state.value?.reason ?? "", message.reason);
        this.state.value = message;
        break;
      case "moves":
        this.moves.value = message.items;
        break;
      case "recordings":
        this.recordings.value = message.items;
        break;
      case "robot_keeps":
        this.keeps.value = message;
        break;
      case "show_checked":
        this.checked.value = message;
        break;
      case "flight_told":
        this.flight.value = message;
        break;
      case "supply_told":
        this.supply.value = message;
        break;
      case "notice":
        this.tell(message.level, message.text);
        break;
      case "refused":
        this.hearMaking?.(message);
        this.#refused(message);
        break;
      case "bringup":
        this.bringup.value = message;
        break;
      case "pong":
        break;
      default:
        this.hearMaking?.(message);
    }
  }

  #refused({ to, text }: Refused): void {
    // A refused hello ends the connection, and is told there.
    if (to === "hello") return;
    if (to === "drive") {
      // Where nothing is held, what was refused only asked to stand: there is nothing to say about that.
      if (!this.drive.held) return;
      this.drive.letGoAll();
    }
    // What was refused is not so: the sliders go back to what is.
    for (const asked of [this.pace, this.posture, this.gait, this.footLift, this.leads]) asked.forget();
    this.tell("warning", text);
  }

  #ping(): void {
    if (this.shown && this.#link.connection.phase === "live") this.send({ type: "ping", n: this.#pings++ % 2 ** 31 });
    this.#pingOff = this.#clock.after(PING_MS, () => this.#ping());
  }
}

/** How the body is carried, relative to the rest stance. */
export type Carried = Required<Omit<Posture, "type">>;

function carried(state: State | null): Carried {
  const [height_mm, roll_deg, pitch_deg, yaw_deg] = state?.posture ?? [0, 0, 0, 0];
  return { height_mm, roll_deg, pitch_deg, yaw_deg };
}

/** While something else moves the joints, no driver's wish is limited. */
function shownLimit({ mode, limit }: State): Limit {
  return mode === "driving" || mode === "rest" ? limit : "";
}
