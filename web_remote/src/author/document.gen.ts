// Made by `python -m motionhub.remote.typescript` from motionhub/motion/formats.py. Change that, not this.

/** From -1000 to 1000. */
export type Millimetres = number;

/** From -360 to 360. */
export type Degrees = number;

/** From -90 to 90. */
export type Tilt = number;

/** From 0 to 1000000000.0. */
export type Milliseconds = number;

/** From 0 to 1000000.0. */
export type Beats = number;

/** At most 64 long. */
export type Title = string;

/** What a Title looks like. */
export const TITLE = /^[A-Za-z0-9][A-Za-z0-9 _-]*$/;

/** At most 2000 long. */
export type Words = string;

/** How far the body is from where it is at rest, and how it is turned: Rz(yaw) Ry(pitch) Rx(roll). */
export interface BodyOffset {
  x_mm?: Millimetres;
  y_mm?: Millimetres;
  z_mm?: Millimetres;
  roll_deg?: Tilt;
  pitch_deg?: Tilt;
  yaw_deg?: Tilt;
}

/** How far a foot is from where it stands at rest. */
export interface Offset {
  x_mm?: Millimetres;
  y_mm?: Millimetres;
  z_mm?: Millimetres;
}

/** Any mix of body, feet and joints; what it does not mention, it does not touch. */
export interface Pose {
  body?: BodyOffset;
  feet?: Record<string, Offset>;
  joints_deg?: Record<string, Degrees>;
}

/** Where some channels are at one time, and how they get there. */
export interface Keyframe {
  at_ms?: Milliseconds;
  at_beat?: Beats;
  body?: BodyOffset;
  feet?: Record<string, Offset>;
  joints_deg?: Record<string, Degrees>;
  /** Left out: minimum-jerk. */
  approach?: string;
  /** A pose by name; what this keyframe gives itself goes before what the pose gives. */
  pose?: string;
}

/**
 * A stretch of walking. It starts and ends standing, so its first and last step are its own.
 *
 * One that starts when another of the same gait, cycle and lift ends goes on from it without a stop, and with no speed
 * it stands on its feet meanwhile.
 */
export interface WalkStretch {
  from_ms?: Milliseconds;
  to_ms?: Milliseconds;
  from_beat?: Beats;
  to_beat?: Beats;
  /** By name; the one that the robot walks by unless told otherwise when not given. */
  gait?: string;
  /** From -2000 to 2000. Left out: 0. */
  forward_mm_s?: number;
  /** From -2000 to 2000. Left out: 0. */
  left_mm_s?: number;
  /** Positive turns to the left. From -360 to 360. Left out: 0. */
  turn_deg_s?: number;
  /** One step of every leg takes this long; the robot file's cycle when not given. */
  cycle_ms?: number;
  lift_mm?: number;
}

/** A level of an output from a time on. */
export interface Cue {
  at_ms?: Milliseconds;
  at_beat?: Beats;
  output: string;
  /** From 0 to 1. */
  level: number;
  /** Left out: 0. */
  fade_ms?: Milliseconds;
  /** After so long it goes back, as slowly as it came, to the level that it had been told before. */
  for_ms?: number;
}

/** A sound to work against; who makes the move hears it in step with the preview. The robot does not play it. */
export interface Sound {
  /** Of the library's sounds. */
  name: Title;
  /** When in the move the sound begins; below 0 its beginning is left out. From -10000000.0 to 10000000.0. Left out: 0. */
  at_ms?: number;
}

/** One move. */
export interface SequenceFile {
  format: "motionhub-sequence/1";
  name: Title;
  /** Left out: empty. */
  about?: Words;
  tempo_bpm?: number;
  poses?: Record<string, Pose>;
  /** At most 20000 long. */
  keyframes?: Keyframe[];
  /** At most 20000 long. */
  walks?: WalkStretch[];
  /** At most 20000 long. */
  cues?: Cue[];
  end_ms?: Milliseconds;
  end_beat?: Beats;
  sound?: Sound;
}

/** A pose with a name, as the library keeps it. */
export interface PoseFile {
  body?: BodyOffset;
  feet?: Record<string, Offset>;
  joints_deg?: Record<string, Degrees>;
  format: "motionhub-pose/1";
  name: Title;
  /** Left out: empty. */
  about?: Words;
}

/** Least and most of what has bounds, ends included. */
export const BOUNDS = {
  BodyOffset: {
    x_mm: [-1000, 1000],
    y_mm: [-1000, 1000],
    z_mm: [-1000, 1000],
    roll_deg: [-90, 90],
    pitch_deg: [-90, 90],
    yaw_deg: [-90, 90],
  },
  Offset: {
    x_mm: [-1000, 1000],
    y_mm: [-1000, 1000],
    z_mm: [-1000, 1000],
  },
  Pose: {
    joints_deg: [-360, 360],
  },
  Keyframe: {
    at_ms: [0, 1000000000],
    at_beat: [0, 1000000],
    joints_deg: [-360, 360],
  },
  WalkStretch: {
    from_ms: [0, 1000000000],
    to_ms: [0, 1000000000],
    from_beat: [0, 1000000],
    to_beat: [0, 1000000],
    forward_mm_s: [-2000, 2000],
    left_mm_s: [-2000, 2000],
    turn_deg_s: [-360, 360],
    cycle_ms: [200, 20000],
    lift_mm: [0, 300],
  },
  Cue: {
    at_ms: [0, 1000000000],
    at_beat: [0, 1000000],
    level: [0, 1],
    fade_ms: [0, 1000000000],
    for_ms: [0, 1000000000],
  },
  Sound: {
    at_ms: [-1e+07, 10000000],
  },
  SequenceFile: {
    tempo_bpm: [10, 400],
    end_ms: [0, 1000000000],
    end_beat: [0, 1000000],
  },
  PoseFile: {
    joints_deg: [-360, 360],
  },
} as const;

/** Of a whole sequence, in seconds. */
export const SHORTEST_S = 0.02;

export const LONGEST_S = 3600;
