// Made by `python -m motionhub.remote.typescript` from motionhub/remote/messages.py. Change that, not this.

/** Where the WebSocket is. */
export const LIVE_PATH = "/live";

/** No message of a browser is longer: the longest that is valid stays well under 1 kB. */
export const MAX_MESSAGE_BYTES = 4096;

/** Why the hub closes a connection; RFC 6455 §7.4.1, and §7.4.2's private range for our own. */
export const CloseCode = {
  /** The hub is shutting down: come back later. */
  LEAVING: 1001,
  /** A text frame came; messages are MessagePack in binary frames. */
  BINARY_ONLY: 1003,
  /** A message longer than MAX_MESSAGE_BYTES. */
  TOO_BIG: 1009,
  /** As many browsers are connected as the hub takes: try later. */
  FULL: 1013,
  /** The key is not one of this hub's: pair again. Trying again with the same key will not help. */
  UNPAIRED: 4401,
  /** The first message was not a Hello, or none came in time. */
  NO_HELLO: 4408,
  /** Too many messages that could not be read. */
  UNREADABLE: 4422,
  /** Too many messages, or too many wrong keys from this address: wait before trying again. */
  TOO_MANY: 4429,
} as const;

/** From -1 to 1. */
export type Share = number;

/** As the library names its documents. */
export type DocumentName = string;

/** What a DocumentName looks like. */
export const DOCUMENT_NAME = /^[A-Za-z0-9]([A-Za-z0-9 _-]{0,62}[A-Za-z0-9_-])?$/;

/**
 * rest: standing still, ready. moving: on the way to or from a stance. waiting: a routine waits for Go.
 * stopped: latched until Resume. fault: the guard or the robot ended it; Resume tries again.
 */
export type Mode = "rest" | "moving" | "playing" | "waiting" | "driving" | "stopping" | "stopped" | "limp" | "fault";

/** The first message of a connection; nothing else is answered before it. */
export interface Hello {
  type: "hello";
  /** From the fragment of the address: operator's or watcher's. At most 128 long. */
  key: string;
  /** What to call this device in the status line. At most 40 long. Left out: empty. */
  name?: string;
}

/** Ask for control. */
export interface Take {
  type: "take";
}

/** Give control back. */
export interface Release {
  type: "release";
}

/** Walk like this, as shares of what the robot can do; repeated at least 5 times a second while held. */
export interface Drive {
  type: "drive";
  forward: Share;
  left: Share;
  /** Positive to the left. */
  turn: Share;
}

/** How the body is carried while standing and walking, relative to the rest stance. */
export interface Posture {
  type: "posture";
  /** From -100 to 100. Left out: 0. */
  height_mm?: number;
  /** From -30 to 30. Left out: 0. */
  roll_deg?: number;
  /** From -30 to 30. Left out: 0. */
  pitch_deg?: number;
  /** From -30 to 30. Left out: 0. */
  yaw_deg?: number;
}

/** How fast the gait goes, as a share of the fastest. */
export interface Pace {
  type: "pace";
  /** From 0.1 to 1. */
  share: number;
}

/** Play a sequence or a routine of the library. */
export interface Play {
  type: "play";
  name: DocumentName;
}

/** Go on with a routine that waits for the operator. */
export interface Go {
  type: "go";
}

/** Bring every joint to rest and hold. Anybody who is paired may; it latches. */
export interface Stop {
  type: "stop";
}

/** Lift the stop and return to the rest stance. */
export interface Resume {
  type: "resume";
}

/** End the pulses: the robot sags. Taken only with `sure` true, which the remote asks for apart. */
export interface Limp {
  type: "limp";
  /** Left out: false. */
  sure?: boolean;
}

/** Record from now on what is driven and sent. */
export interface RecordStart {
  type: "record_start";
}

/** End the recording and keep it under this name. */
export interface RecordStop {
  type: "record_stop";
  name: DocumentName;
}

/** Send a recording's frames again, exactly. */
export interface Replay {
  type: "replay";
  name: DocumentName;
}

/** Set a lamp or sounder by hand. */
export interface SetOutput {
  type: "set_output";
  /** At most 32 long. */
  output: string;
  /** From 0 to 1. */
  level: number;
}

/** Asks for a Pong with the same number. */
export interface Ping {
  type: "ping";
  /** From 0 to 2147483648. */
  n: number;
}

export type FromBrowser =
  | Hello
  | Take
  | Release
  | Drive
  | Posture
  | Pace
  | Play
  | Go
  | Stop
  | Resume
  | Limp
  | RecordStart
  | RecordStop
  | Replay
  | SetOutput
  | Ping;

/** A leg's geometry, for drawing it. Joint angles follow motionhub.robot.model's conventions. */
export interface LegInfo {
  name: string;
  hip_mm: [number, number, number];
  heading_deg: number;
  coxa_mm: number;
  femur_mm: number;
  tibia_mm: number;
  foot_radius_mm: number;
}

/** An extra joint's geometry; `parent` is an index into the extra joints, -1 for the body. */
export interface ExtraInfo {
  name: string;
  parent: number;
  at_mm: [number, number, number];
  axis: [number, number, number];
  tip_mm: [number, number, number];
  radius_mm: number;
}

/** A lamp or sounder. */
export interface OutputInfo {
  name: string;
  kind: "lamp" | "sounder";
}

/** What a browser needs to draw the robot and name its parts. */
export interface RobotInfo {
  name: string;
  joints: string[];
  legs: LegInfo[];
  extra: ExtraInfo[];
  outputs: OutputInfo[];
  body_size_mm: [number, number, number];
  body_centre_mm: [number, number, number];
  rest_height_mm: number;
  /** How far below and above the rest height the body may be carried. */
  height_range_mm: [number, number];
}

/** Answer to a good Hello. */
export interface Welcome {
  type: "welcome";
  role: "operator" | "watcher";
  /** This connection's id, as in State.driver. */
  you: string;
  hub_version: string;
  robot: RobotInfo;
}

/** The radio link, over the last second. */
export interface LinkState {
  up: boolean;
  round_trip_ms: number | null;
  /** Of frames sent, how many were not acknowledged. */
  lost_share: number;
  bytes_s: number;
  budget_bytes_s: number;
}

/** As the robot reports it; level is `ok`, `low` or `empty` by the robot file's voltages. */
export interface BatteryState {
  volts: number | null;
  level: "ok" | "low" | "empty" | "unknown";
}

/** Who holds control. */
export interface Driver {
  id: string;
  name: string;
}

/** What is being played or replayed. */
export interface Progress {
  name: string;
  at_s: number;
  duration_s: number;
  waits_for_go: boolean;
}

/** The live state, about 25 times a second. */
export interface State {
  type: "state";
  tick: number;
  mode: Mode;
  /** Why it is stopped or at fault, in words; empty otherwise. */
  reason: string;
  joints_deg: number[];
  /** x_mm, y_mm, z_mm, roll_deg, pitch_deg, yaw_deg over the ground, as it stands on its feet. */
  body: [number, number, number, number, number, number];
  /** Per leg, whether its foot carries weight. */
  down: boolean[];
  /** Centre of mass above the ground, ground frame. */
  com_mm: [number, number];
  /** Static stability margin; negative outside the support polygon. */
  margin_mm: number;
  outputs: number[];
  /** Driving is scaled down to what the robot can do. */
  at_limit: boolean;
  link: LinkState;
  battery: BatteryState;
  driver: Driver | null;
  playing: Progress | null;
  recording_s: number | null;
  watchers: number;
}

/** A line of the list of moves. */
export interface MoveInfo {
  name: string;
  kind: "sequence" | "routine";
  duration_s: number | null;
  verdict: "fits" | "warns" | "fails" | "unreadable" | "checking";
  /** The first finding in words, or why it cannot be read. */
  reason: string;
  shipped: boolean;
}

/** The whole list, sent after Welcome and whenever it changes. */
export interface Moves {
  type: "moves";
  items: MoveInfo[];
}

/** A line of the list of recordings. */
export interface RecordingInfo {
  name: string;
  duration_s: number;
  /** Local date and time, ISO 8601. */
  made: string;
}

/** The whole list, sent after Welcome and whenever it changes. */
export interface Recordings {
  type: "recordings";
  items: RecordingInfo[];
}

/** Something that people should know, in words. */
export interface Notice {
  type: "notice";
  level: "info" | "warning" | "error";
  text: string;
}

/** A message that could not be taken, and why. */
export interface Refused {
  type: "refused";
  /** The refused message's type, or empty when it could not be read. */
  to: string;
  text: string;
}

/** Answer to Ping. */
export interface Pong {
  type: "pong";
  n: number;
}

export type FromHub =
  | Welcome
  | State
  | Moves
  | Recordings
  | Notice
  | Refused
  | Pong;
