// Made by `python -m motionhub.remote.typescript` from what motionhub/remote/messages.py unites. Change that, not this.

/** Of the longest document that is edited in a browser: some 5,000 keyframes. */
export const DOCUMENT_CHARACTERS = 1000000;

/** Of a sound, at a time. */
export const SOUND_PART_BYTES = 262144;

/** Of one sound at most: 12 MB, some ten minutes of a compressed one. */
export const SOUND_PARTS = 48;

/** No message of an operator is longer: a document whose every character takes four bytes just fits. */
export const LONG_MESSAGE_BYTES = 4000000;

/** Where the WebSocket is. */
export const LIVE_PATH = "/live";

/**
 * No message of a browser is longer, but for an operator's that carry a document: the longest of the others that
 * is valid stays well under 1 kB.
 */
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

/** A document as JSON text; empty for one that there is not. At most 1000000 long. */
export type DocumentText = string;

/** Tells one saved text of a document from another; empty while there is none. At most 64 long. */
export type VersionId = string;

/** From 0 to 2147483648. */
export type Edit = number;

/** From 0 to 3600. */
export type Seconds = number;

/** From 0.05 to 20. */
export type ErrorDeg = number;

/** At most 64 long. */
export type Heading = string;

/** A browser's own mark, which it keeps: its drafts are found again by it. */
export type Hand = string;

/** What a Hand looks like. */
export const HAND = /^[A-Za-z0-9]{1,40}$/;

/**
 * slower: more time where it is needed. lower, higher, shift, tilt: the body over its feet. feet-in, feet-out: all of
 * them, for the whole move. foot: that one, to where its leg reaches. joint: that one, back into its range.
 */
export type RemedyKind = "slower" | "lower" | "higher" | "shift" | "tilt" | "feet-in" | "feet-out" | "foot" | "joint";

/**
 * ready: the cautions. centre: horns go on at mid-travel. look: what moves on which connector, and which way.
 * angles: trims and µs per degree. ends: how far each servo may go. level: hips by a ruler. legs: each leg, each way,
 * on the stand. floor: walking slowly.
 */
export type StepName = "ready" | "centre" | "look" | "angles" | "ends" | "level" | "legs" | "floor";

/** Whether a joint's angle grows: a coxa's to the left seen from above, a femur's and a tibia's up. */
export type Way = "more" | "less";

export type LegWay = "up" | "out" | "left";

/** At most 64 long. */
export type Name = string;

/** At most 64 long. */
export type Item = string;

/** From 300 to 3000. */
export type PulseUs = number;

/** From -200 to 200. */
export type AngleDeg = number;

/** At most 48 long. */
export type Joints = string[];

/** At most 64 long. */
export type MoveName = string;

/**
 * rest: standing still, ready. moving: on the way to or from a stance. waiting: a routine waits for Go.
 * stopped: latched until Resume. fault: the guard or the robot ended it; Resume tries again.
 * setup: bring-up, raw pulses for the joints that were chosen. halted: stopped in it, latched until Resume.
 */
export type Mode = "rest" | "moving" | "playing" | "waiting" | "driving" | "stopping" | "stopped" | "limp" | "fault" | "setup" | "halted";

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

/** Walk by this gait, one of RobotInfo.gaits; also while it walks. */
export interface Gait {
  type: "gait";
  /** At most 32 long. */
  name: string;
}

/** Lift feet so high; also while it walks. Drawn into RobotInfo.lift_range_mm. */
export interface Lift {
  type: "lift";
  /** From 0 to 500. */
  height_mm: number;
}

/** Whether the head turns ahead of the body into a turn; see RobotInfo.leads. */
export interface Lead {
  type: "lead";
  on: boolean;
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

/** A multimeter at the battery shows this: from now on the robot's reading is worth it, also after a restart. */
export interface MeterShows {
  type: "meter_shows";
  volts: number;
}

/** Have the robot keep the hub's calibration in place of its own (RobotKeeps). */
export interface SendCalibration {
  type: "send_calibration";
}

/** Make what the robot keeps the hub's calibration, in place of its own. */
export interface TakeCalibration {
  type: "take_calibration";
}

/** Asks for a Pong with the same number. */
export interface Ping {
  type: "ping";
  /** From 0 to 2147483648. */
  n: number;
}

/** From limp to raw pulses; the robot is on its stand. */
export interface BringupBegin {
  type: "bringup_begin";
}

/** No more raw pulses; limp. */
export interface BringupLeave {
  type: "bringup_leave";
}

/** Look at this step and this item of it; kept, so that it can be taken up again. Ends pulses. */
export interface BringupGo {
  type: "bringup_go";
  step: StepName;
  /** Left out: empty. */
  item?: Item;
}

/** An item of a step is done, or is not after all; empty: all of them. */
export interface BringupDone {
  type: "bringup_done";
  step: StepName;
  item: Item;
  /** Left out: true. */
  done?: boolean;
}

/** End all pulses, and stay. */
export interface BringupDrop {
  type: "bringup_drop";
}

/** These joints to the middle of their servos' travel. */
export interface BringupCentre {
  type: "bringup_centre";
  joints: Joints;
}

/** A longer pulse on this joint's connector, and back, twice, to see what moves and which way. */
export interface BringupTry {
  type: "bringup_try";
  joint: Name;
}

/** What moved when that connector's pulse grew longer; `moved` empty: nothing. */
export interface BringupSaw {
  type: "bringup_saw";
  joint: Name;
  /** Left out: empty. */
  moved?: Item;
  /** Left out: null. */
  way?: Way | null;
}

/** A joint slowly to this pulse. */
export interface BringupPulse {
  type: "bringup_pulse";
  joint: Name;
  pulse_us: PulseUs;
}

/** Joints slowly to these angles, by what is known of them; they follow when their trim changes. */
export interface BringupAngle {
  type: "bringup_angle";
  joints: Joints;
  /** At most 48 long. */
  angles_deg: AngleDeg[];
}

/** A protractor says that the joint stands at this angle with this pulse. */
export interface BringupRead {
  type: "bringup_read";
  joint: Name;
  pulse_us: PulseUs;
  angle_deg: AngleDeg;
}

/** How closely angles are read from now on; each reading keeps how closely it was read. */
export interface BringupProtractor {
  type: "bringup_protractor";
  /** From 0.1 to 5. */
  read_to_deg: number;
}

/** Forget what the protractor said of this joint. */
export interface BringupForget {
  type: "bringup_forget";
  joint: Name;
}

/** The joint's trim, whatever readings say. */
export interface BringupTrim {
  type: "bringup_trim";
  joint: Name;
  /** From -45 to 45. */
  trim_deg: number;
}

/** The joint's servo sits mirrored, or does not. */
export interface BringupTurn {
  type: "bringup_turn";
  joint: Name;
  reversed: boolean;
}

/** The joint's shortest or longest pulse; None: as the data sheet says. */
export interface BringupLimit {
  type: "bringup_limit";
  joint: Name;
  which: "low" | "high";
  /** Left out: null. */
  pulse_us?: PulseUs | null;
}

/** Stand as for measuring in this stance; the robot is on the floor. */
export interface BringupStand {
  type: "bringup_stand";
  /** From 0 to 99. */
  stance: number;
}

/** What the ruler said in this stance, from table to hip, for each leg; None where nothing was read. */
export interface BringupHeights {
  type: "bringup_heights";
  /** From 0 to 99. */
  stance: number;
  /** At most 8 long. */
  heights_mm: (number | null)[];
}

/** Take the trims that the heights lead to. */
export interface BringupLevel {
  type: "bringup_level";
}

/** Move a leg this way and back, twice, by what is known of it. */
export interface BringupLeg {
  type: "bringup_leg";
  leg: Name;
  way: LegWay;
}

/**
 * Whether it went that way; if not, the joint behind it turns the other way round from now on.
 *
 * Or another joint moved in its place, and which way: then that one's plug is where this one belongs.
 */
export interface BringupWent {
  type: "bringup_went";
  leg: Name;
  way: LegWay;
  right: boolean;
  /** Another joint; null: nothing moved; empty: the right one did. Left out: empty. */
  moved?: Item | null;
  /** Left out: null. */
  moved_way?: Way | null;
}

/** Take the last step back. */
export interface BringupBack {
  type: "bringup_back";
}

/** Look at everything before a show; nothing moves for it. Everybody is shown what comes of it. */
export interface CheckShow {
  type: "check_show";
  /** What is to be played; none when empty. Left out: empty. */
  routine?: MoveName;
}

/** Let every joint move slowly, one leg after another; only for whoever holds control. */
export interface SweepJoints {
  type: "sweep_joints";
}

/** What was seen of the sweep; only for whoever holds control. */
export interface SweepSeen {
  type: "sweep_seen";
  /** Joints that did not move. At most 48 long. */
  stuck: MoveName[];
}

/** Ask for the last minute, or for what was kept of a fault. */
export interface AskFlight {
  type: "ask_flight";
  /** One of FlightTold.kept; the last minute when empty. Left out: empty. */
  name?: MoveName;
  /** Whose curves to show; those that moved most when empty. At most 4 long. */
  joints: MoveName[];
}

/** Ask what the regulator should be set to and has to deliver, for all moves together; takes up to some minutes. */
export interface AskSupply {
  type: "ask_supply";
}

/** Begin to edit a sequence; one that is not there yet is a new one. */
export interface OpenMove {
  type: "open_move";
  name: DocumentName;
  hand: Hand;
}

/** Edit it no longer; its draft stays. */
export interface CloseMove {
  type: "close_move";
  name: DocumentName;
}

/** The sequence as it is now being edited: to be judged and, unless a hand is still moving it, kept. */
export interface Draft {
  type: "draft";
  name: DocumentName;
  hand: Hand;
  /** What the edits began from. */
  base: VersionId;
  n: Edit;
  text: DocumentText;
  /** Keep it on the disk; answered by a Kept once it is there. Left out: true. */
  keep?: boolean;
  /** Answer with all frames, not only with those that have changed. Left out: false. */
  whole?: boolean;
}

/** Throw this hand's draft of a sequence away. */
export interface DropDraft {
  type: "drop_draft";
  name: DocumentName;
  hand: Hand;
}

/** Save a sequence, if what is saved now is still what the edits began from. */
export interface SaveMove {
  type: "save_move";
  name: DocumentName;
  hand: Hand;
  base: VersionId;
  text: DocumentText;
}

/** Change a sequence so that a finding goes away; answered by a Mended. */
export interface Mend {
  type: "mend";
  name: DocumentName;
  n: Edit;
  text: DocumentText;
  /** At most 32 long. */
  rule: string;
  subject: string | null;
  start_s: Seconds;
  remedy: RemedyKind;
}

/** Leave out keys that are not needed to stay within an error; answered by a Mended. */
export interface Thin {
  type: "thin";
  name: DocumentName;
  n: Edit;
  text: DocumentText;
  error_deg: ErrorDeg;
}

/** Play a sequence as it is being edited on the robot, at a share of its speed; only for who holds control. */
export interface Rehearse {
  type: "rehearse";
  name: DocumentName;
  text: DocumentText;
  /** From 0.1 to 1. */
  share: number;
}

/** Ask for what was saved of a sequence before. */
export interface ListVersions {
  type: "list_versions";
  name: DocumentName;
}

/** Ask for the text of an earlier version. */
export interface LookBack {
  type: "look_back";
  name: DocumentName;
  id: VersionId;
}

/** Make a sequence of a recording, or of a part of it; answered by a Made. */
export interface Transcribe {
  type: "transcribe";
  recording: DocumentName;
  name: DocumentName;
  /** Left out: 0. */
  from_s?: Seconds;
  /** Left out: null. */
  to_s?: Seconds | null;
  /** Left out: 1. */
  error_deg?: ErrorDeg;
}

/** Make a sequence of a table of joint angles in degrees, as CSV; answered by a Made. */
export interface ReadTable {
  type: "read_table";
  name: DocumentName;
  text: DocumentText;
  /** From a joint to the heading of its column; a joint that is not named here has one of its own name, or none. At most 256 long. */
  columns?: Record<Heading, Heading>;
  /** The heading of the column with the time; empty when a row follows each 1 / rate_hz seconds. Left out: empty. */
  time?: Heading;
  /** Whether that time is in ms rather than in s. Left out: false. */
  milliseconds?: boolean;
  /** From 1 to 1000. Left out: 50. */
  rate_hz?: number;
  /** Left out: 1. */
  error_deg?: ErrorDeg;
}

/** Look whether a sequence from elsewhere suits this robot; answered by a Made. */
export interface ReadDocument {
  type: "read_document";
  name: DocumentName;
  text: DocumentText;
}

/** Ask for the frames of a sequence as MessagePack; answered by an Exported. */
export interface ExportFrames {
  type: "export_frames";
  name: DocumentName;
  text: DocumentText;
  /** From 1 to 200. Left out: 50. */
  rate_hz?: number;
}

/** Keep a pose in the library, for every move. */
export interface SavePose {
  type: "save_pose";
  name: DocumentName;
  text: DocumentText;
}

/** A part of a sound to work against, kept in the library; after the last one a SoundKept answers. */
export interface KeepSound {
  type: "keep_sound";
  name: DocumentName;
  part: number;
  /** From 1 to 48. */
  parts: number;
  /** At most 262144 long. */
  data: Uint8Array;
}

export type FromBrowser =
  | Hello
  | Take
  | Release
  | Drive
  | Posture
  | Pace
  | Gait
  | Lift
  | Lead
  | Play
  | Go
  | Stop
  | Resume
  | Limp
  | RecordStart
  | RecordStop
  | Replay
  | SetOutput
  | MeterShows
  | SendCalibration
  | TakeCalibration
  | Ping
  | BringupBegin
  | BringupLeave
  | BringupGo
  | BringupDone
  | BringupDrop
  | BringupCentre
  | BringupTry
  | BringupSaw
  | BringupPulse
  | BringupAngle
  | BringupRead
  | BringupProtractor
  | BringupForget
  | BringupTrim
  | BringupTurn
  | BringupLimit
  | BringupStand
  | BringupHeights
  | BringupLevel
  | BringupLeg
  | BringupWent
  | BringupBack
  | CheckShow
  | SweepJoints
  | SweepSeen
  | AskFlight
  | AskSupply
  | OpenMove
  | CloseMove
  | Draft
  | DropDraft
  | SaveMove
  | Mend
  | Thin
  | Rehearse
  | ListVersions
  | LookBack
  | Transcribe
  | ReadTable
  | ReadDocument
  | ExportFrames
  | SavePose
  | KeepSound;

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

/** A gait that suits the robot. Of a cycle each foot stands the share `duty`, from its `touchdown` on. */
export interface GaitInfo {
  name: string;
  duty: number;
  /** Per leg, the share of the cycle at which its foot is set down. */
  touchdown: number[];
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
  /** How far either way the body may be turned, by roll, by pitch or by yaw alone, standing at rest height. */
  lean_range_deg: [number, number, number];
  /** The first is the one that it walks by unless told otherwise. */
  gaits: GaitInfo[];
  /** Between which heights feet may be told to be lifted. */
  lift_range_mm: [number, number];
  /** Whether it has a head, or anything else, that turns ahead of the body. */
  leads: boolean;
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
  /** Frames that share a packet on a slow radio, 1 where each goes out alone. */
  together: number;
  /** Whether every second frame is left out, since the radio does not carry all of this motion. */
  thinned: boolean;
}

/** As the robot reports it; level is `ok`, `low` or `empty` by the robot file's voltages. */
export interface BatteryState {
  volts: number | null;
  level: "ok" | "low" | "empty" | "unknown";
  /** Until the cut-off, used as in the last minutes; null while that is not known. */
  minutes_left: number | null;
  /** All of it in one line, the same on every screen. */
  words: string;
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
  /**
   * Why less is done than was asked, and nothing when all of it is. reach: as long a step as the legs have room for.
   * speed, torque: all that the servos give. current, voltage: all that the supply gives now. margin: the weight
   * would come too near to the edge of the feet. acceleration: it could not stop in time. posture: the body cannot be
   * carried like that. none: no foot can step at all like that.
   */
  limit: "" | "reach" | "speed" | "margin" | "acceleration" | "torque" | "current" | "voltage" | "posture" | "none";
  gait: string;
  lift_mm: number;
  /** How long one step of every leg takes in this gait. */
  cycle_ms: number;
  /** As Pace has set it. */
  pace: number;
  /** height_mm, roll_deg, pitch_deg, yaw_deg as Posture has asked; zero again after a move or a stop. */
  posture: [number, number, number, number];
  /** As Lead has set it. */
  leads: boolean;
  /** Whether feet step or are about to: in mode driving it may only be carrying its body otherwise. */
  walking: boolean;
  /**
   * For the last ticks up to this one, oldest first, which feet were down, as bits: 1 for the first leg, 2 for the
   * next, 4, 8 and so on; -1 where nobody knows, as when limp. Six ticks, so that a lost state leaves no gap.
   */
  feet: number[];
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

/** A joint whose calibration is another one on the robot, in words. */
export interface KeptDifference {
  joint: string;
  ours: string;
  theirs: string;
}

/** How the calibration that the robot keeps compares with the hub's; sent after Welcome and whenever it changes. */
export interface RobotKeeps {
  type: "robot_keeps";
  /** unknown: there is no link. waiting: written on the robot, and used once no servo stands beyond the new ends. */
  state: "unknown" | "reading" | "same" | "differs" | "sending" | "waiting" | "refused" | "failed";
  /** Whether what the robot uses was sent to it; else it came with its program. */
  sent: boolean;
  differences: KeptDifference[];
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

/** What is not done yet. */
export interface BringupNext {
  step: StepName;
  item: string;
}

/** A step: its items, and those that are done. */
export interface BringupStep {
  name: StepName;
  items: string[];
  done: string[];
  /** How long what is left of it takes, by practice. */
  minutes: number;
}

/** A protractor's reading. */
export interface BringupReading {
  pulse_us: number;
  angle_deg: number;
  /** How far it is from what the others say, when it was misread; None: they agree. */
  off_deg: number | null;
}

/** What is known of a joint, and what its readings say. */
export interface BringupJoint {
  name: string;
  /** Where the robot file has it. */
  pin: number;
  /** The joint on whose pin it is really plugged in. */
  connector: string;
  plugged_pin: number;
  trim_deg: number;
  reversed: boolean;
  us_per_deg: number;
  sheet_us_per_deg: number;
  low_us: number;
  high_us: number;
  /** The servo's own ends. */
  sheet_us: [number, number];
  mid_us: number;
  mid_deg: number;
  range_deg: [number, number];
  readings: BringupReading[];
  /** The two pulses at which to read the protractor. */
  places_us: [number, number];
  /** Where to read it next; None: there are enough readings. */
  next_us: number | null;
  /** How well it is known, one standard deviation; None without readings. */
  spread_deg: number | null;
}

/** A joint that has a pulse, and where that is going. */
export interface BringupHeld {
  joint: string;
  pulse_us: number;
}

/** A height that does not fit the others. */
export interface BringupOdd {
  stance: number;
  leg: string;
  off_mm: number;
}

/** A joint of which ruler and protractor say different things. */
export interface BringupAgainst {
  joint: string;
  off_deg: number;
}

/** What the heights say. */
export interface BringupLevelled {
  /** What they are still off by after the trims, root mean square. */
  residual_mm: number;
  /** By how much each joint's trim will change. */
  trims_deg: number[];
  odd: BringupOdd[];
  against: BringupAgainst[];
}

/** How the bring-up stands, sent after Welcome and whenever it changes. */
export interface Bringup {
  type: "bringup";
  step: StepName;
  item: string;
  next: BringupNext | null;
  steps: BringupStep[];
  joints: BringupJoint[];
  held: BringupHeld[];
  /** Whether nothing is on its way. */
  still: boolean;
  /** So many joints may have pulses at a time. */
  at_once: number;
  /** What has been found out, in words. */
  found: string[];
  /** What has to be looked at again, in words. */
  problems: string[];
  /** The legs that stand in each stance for measuring. */
  stances: string[][];
  /** The stances whose heights wait to be used. */
  told: number[];
  /** How closely people read their protractor. */
  read_to_deg: number;
  level: BringupLevelled | null;
  /** What would be taken back; empty: nothing. */
  back: string;
  /** Whether all of it is on the disk. */
  saved: boolean;
}

/** A line of the show check. care: it may be shown, and somebody should know. open: not known yet. */
export interface CheckLine {
  name: string;
  state: "good" | "care" | "bad" | "open";
  words: string;
}

/** How the show check stands; sent after Welcome and whenever it changes. */
export interface ShowChecked {
  type: "show_checked";
  running: boolean;
  routine: string;
  /** Empty before the first check. */
  lines: CheckLine[];
  /** Null while something is open. */
  go: boolean | null;
  reason: string;
  /** What is asked of whoever holds control: to let the joints move, to watch, to say what was seen. */
  asks: "" | "sweep" | "sweeping" | "seen";
}

/** Something that happened. */
export interface FlightLine {
  /** Time of the day. */
  at: string;
  t_s: number;
  kind: "asked" | "refused" | "told" | "mode" | "fault" | "left";
  text: string;
}

/** A curve; null where nothing was known. */
export interface FlightCurve {
  /** With its unit. */
  name: string;
  values: (number | null)[];
}

/** A recorded minute. */
export interface FlightTold {
  type: "flight_told";
  name: string;
  /** Names of what was kept of faults, newest first. */
  kept: string[];
  summary: string[];
  lines: FlightLine[];
  t_s: number[];
  /** Each as long as `t_s`; the last are joints. */
  curves: FlightCurve[];
  /** All that can be asked for. */
  joints: string[];
  fault_s: number | null;
}

/** What the supply has to be, in the words of `motionhub check --size`. */
export interface SupplyTold {
  type: "supply_told";
  /** It is still being worked out. */
  working: boolean;
  words: string[];
}

/** A draft that is on the disk. */
export interface KeptDraft {
  hand: string;
  text: string;
  /** What its edits began from. */
  base: string;
  n: number;
  /** Whose device; empty when it did not say. */
  by: string;
  /** Local date and time, ISO 8601. */
  made: string;
}

/** A way of walking, and how fast it goes at most with the usual cycle and lift. */
export interface GaitSpeed {
  name: string;
  forward_mm_s: number;
  left_mm_s: number;
  turn_deg_s: number;
}

/** What a browser needs to know of the robot to make moves for it, besides how it looks. */
export interface MakerInfo {
  /** Per joint, in the order of the robot's joints. */
  low_deg: number[];
  high_deg: number[];
  /** The rest stance. */
  rest_deg: number[];
  /** Per leg, the foot's centre at rest: x forward, y left, z up from the ground under the body. */
  rest_feet_mm: [number, number, number][];
  /** The usual one first. */
  gaits: GaitSpeed[];
  cycle_ms: number;
  lift_mm: number;
  /** Of static stability, that the check asks for. */
  margin_mm: number;
  regulator_a: number;
}

/** Answer to OpenMove. */
export interface Opened {
  type: "opened";
  name: string;
  /** As it is saved; empty for a new one. */
  text: string;
  version: string;
  /** It came with the program: saving it makes one's own, which covers it. */
  shipped: boolean;
  /** Of this sequence, the latest first. */
  drafts: KeptDraft[];
  /** Who else has it open. */
  others: string[];
  maker: MakerInfo;
  /** The library's poses, JSON from name to pose. */
  poses: string;
  sounds: string[];
  /** A sound of the library is at this path, a slash, and its name; it holds a secret, so it is not for showing. */
  sound_path: string;
}

/** Who else has a sequence open, whenever that changes. */
export interface Editing {
  type: "editing";
  name: string;
  others: string[];
}

/** A draft is on the disk, up to this edit; a power cut does not take it. */
export interface Kept {
  type: "kept";
  name: string;
  n: number;
}

/** A change that may mend a finding, at one press. */
export interface Remedy {
  kind: RemedyKind;
  words: string;
}

/** What the check says against a move, as `motionhub check` has it, and what can be pressed against it. */
export interface FindingInfo {
  rule: string;
  severity: "error" | "warning";
  start_s: number;
  end_s: number;
  subject: string | null;
  value: number;
  limit: number;
  unit: string;
  advice: string;
  remedies: Remedy[];
}

/**
 * How a move goes, frame by frame; little-endian arrays, row after row. Only rows from `first` on are here.
 *
 * The rows before it, and those after the ones here, are as they were in the answer to edit `since`: those at
 * the end keep their distance to the end. With `since` -1 all of them are here.
 */
export interface PreviewInfo {
  rate_hz: number;
  frames: number;
  first: number;
  since: number;
  /** int16, per joint: hundredths of a degree. */
  joints: Uint8Array;
  /** float32, 6: x_mm, y_mm, z_mm, roll_deg, pitch_deg, yaw_deg over the ground, as it stands on its feet. */
  body: Uint8Array;
  /** float32, 2: x_mm and y_mm of the centre of mass on the ground. */
  com: Uint8Array;
  /** uint8: bit i is set when the foot of leg i carries weight. */
  down: Uint8Array;
  /** uint8, per output: 255 is the full level. */
  outputs: Uint8Array;
  /** int16: tenths of a millimetre. */
  margin: Uint8Array;
  /** uint16: hundredths of an ampere. */
  amps: Uint8Array;
  /** uint8, per joint: percent of the torque that its servo has at that moment, 255 for as much or more. */
  load: Uint8Array;
}

/** The verdict on a draft. */
export interface Judged {
  type: "judged";
  name: string;
  n: number;
  /** Where it cannot be read or done, as `walks[0].gait`; empty when there is no such place. */
  place: string;
  /** Why it cannot be read or done at all; empty when it can, and then there is a preview. */
  problem: string;
  fits: boolean;
  duration_s: number;
  findings: FindingInfo[];
  preview: PreviewInfo | null;
  /** Whether some advice is still being worked out, and there is none yet: the same verdict follows with it. */
  advising: boolean;
  /** Whether only the edited stretch was looked at, and the rest is as it was: the verdict on all of it follows. */
  partly: boolean;
  /** How long it was worked on. */
  took_ms: number;
}

/** A sequence is saved and on the disk; its draft is gone. */
export interface Saved {
  type: "saved";
  name: string;
  version: string;
}

/** A sequence was not saved, for something else has been saved under its name since the edits began. */
export interface Conflict {
  type: "conflict";
  name: string;
  version: string;
  /** What is saved now. */
  text: string;
  /** Who saved it, and when. */
  words: string;
}

/** A sequence that is open here has been saved by someone else. */
export interface Changed {
  type: "changed";
  name: string;
  version: string;
  words: string;
}

/** An earlier text of a sequence. */
export interface VersionInfo {
  id: string;
  /** When another took its place: local date and time, ISO 8601. */
  replaced: string;
}

/** Answer to ListVersions, the newest first. */
export interface VersionList {
  type: "version_list";
  name: string;
  items: VersionInfo[];
}

/** Answer to LookBack. */
export interface PastVersion {
  type: "past_version";
  name: string;
  id: string;
  text: string;
}

/** A changed sequence, to be taken over as one step that can be undone. */
export interface Mended {
  type: "mended";
  name: string;
  /** The edit that it was made from: if others have followed, it is out of date. */
  n: number;
  text: string;
  /** What was done. */
  words: string;
  /** The finding is still there, or another of its kind. */
  left: boolean;
}

/** A sequence made of a recording or a table, or one that came from elsewhere. */
export interface Made {
  type: "made";
  name: string;
  text: string;
  words: string;
  keyframes: number;
  /** The most that any joint is away from where it was, at any frame, as rendered. */
  error_deg: number;
}

/** The frames of a sequence, as motionhub.library.exchange describes them. */
export interface Exported {
  type: "exported";
  name: string;
  data: Uint8Array;
}

/** A sound is in the library and on the disk. */
export interface SoundKept {
  type: "sound_kept";
  name: string;
}

export type FromHub =
  | Welcome
  | State
  | Moves
  | Recordings
  | RobotKeeps
  | Notice
  | Refused
  | Pong
  | Bringup
  | ShowChecked
  | FlightTold
  | SupplyTold
  | Opened
  | Editing
  | Kept
  | Judged
  | Saved
  | Conflict
  | Changed
  | VersionList
  | PastVersion
  | Mended
  | Made
  | Exported
  | SoundKept;
