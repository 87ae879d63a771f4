import { useComputed } from "@preact/signals";
import type { JSX } from "preact";
import { capital } from "../../words.ts";
import { useMaker } from "../context.ts";
import { BODY_AXES, type BodyAxis } from "../document.ts";
import { usePoser } from "./context.ts";
import { Pad } from "./Pad.tsx";
import { Row } from "./Row.tsx";

const AXIS_WORDS: Record<BodyAxis, string> = {
  x_mm: "Forward",
  y_mm: "Left",
  z_mm: "Up",
  roll_deg: "Lean right",
  pitch_deg: "Nose down",
  yaw_deg: "Turn left",
};
const BODY_RANGE: Record<BodyAxis, number> = { x_mm: 80, y_mm: 80, z_mm: 80, roll_deg: 30, pitch_deg: 30, yaw_deg: 40 };
const SWAY_MM = 80;
const LEAN_DEG = 30;
const FOOT_WORDS = ["Forward", "Left", "Up"] as const;
const FOOT_MM = 160;

function useBody(axis: BodyAxis): ReturnType<typeof useComputed<number>> {
  const poser = usePoser();
  return useComputed(() => poser.now.value?.body[BODY_AXES.indexOf(axis)] ?? 0);
}

/** The body over its feet: where it is, and how it is turned. */
export function BodyFields(): JSX.Element {
  const poser = usePoser();
  const [x, y, roll, pitch] = [useBody("x_mm"), useBody("y_mm"), useBody("roll_deg"), useBody("pitch_deg")];
  const right = useComputed(() => -y.value);
  return (
    <>
      <div class="pose-pads">
        <Pad label="Sway" reach={SWAY_MM} right={right} up={x} move={(r, u, gesture) => poser.moveBody({ x_mm: u, y_mm: -r }, gesture)}>
          <path class="hint" d="M-8-78 0-88 8-78" />
        </Pad>
        <Pad label="Lean" reach={LEAN_DEG} right={roll} up={pitch} move={(r, u, gesture) => poser.moveBody({ roll_deg: r, pitch_deg: u }, gesture)}>
          <path class="hint" d="M-8-78 0-88 8-78" />
        </Pad>
      </div>
      {BODY_AXES.map((axis) => (
        <BodyRow key={axis} axis={axis} />
      ))}
    </>
  );
}

function BodyRow({ axis }: { axis: BodyAxis }): JSX.Element {
  const poser = usePoser();
  const value = useBody(axis);
  const i = BODY_AXES.indexOf(axis);
  return (
    <Row
      label={AXIS_WORDS[axis]}
      unit={axis.endsWith("_mm") ? "mm" : "°"}
      value={value}
      min={-BODY_RANGE[axis]}
      max={BODY_RANGE[axis]}
      move={(to, gesture) => {
        const { at, ends } = poser.moveBody({ [axis]: to }, gesture);
        return { at: at[i] as number, ends };
      }}
    />
  );
}

/** A leg by its foot, and below by its joints. */
export function LegFields({ leg }: { leg: number }): JSX.Element {
  const poser = usePoser();
  const x = useComputed(() => poser.now.value?.feet[leg]?.[0] ?? 0);
  const y = useComputed(() => poser.now.value?.feet[leg]?.[1] ?? 0);
  const z = useComputed(() => poser.now.value?.feet[leg]?.[2] ?? 0);
  const right = useComputed(() => -y.value);
  const foot = [x, y, z] as const;
  const at = (): [number, number, number] => [...(poser.now.peek()?.feet[leg] ?? [0, 0, 0])] as [number, number, number];
  // Aside and up on a pad of their own: on a small stage a foot is small.
  return (
    <>
      <div class="pose-pads">
        <Pad
          label="Over the ground"
          reach={FOOT_MM}
          right={right}
          up={x}
          move={(r, u, gesture) => poser.moveFoot(leg, [u, -r, at()[2]], gesture)}
        >
          <path class="hint" d="M-8-78 0-88 8-78" />
        </Pad>
        <Pad
          label="Up and aside"
          reach={FOOT_MM}
          right={right}
          up={z}
          move={(r, u, gesture) => poser.dragFoot(leg, [at()[0], -r, u], gesture)}
        >
          <path class="hint" d="M-92 0H92" />
        </Pad>
      </div>
      {FOOT_WORDS.map((label, k) => (
        <Row
          key={label}
          label={label}
          unit="mm"
          value={foot[k as 0 | 1 | 2]}
          min={-FOOT_MM}
          max={FOOT_MM}
          move={(to, gesture) => {
            const wanted = at();
            wanted[k] = to;
            const got = poser.moveFoot(leg, wanted, gesture);
            return { at: got.at[k as 0 | 1 | 2], ends: got.ends };
          }}
        />
      ))}
      <details class="pose-joints">
        <summary>Joint by joint</summary>
        {(["coxa", "femur", "tibia"] as const).map((part, k) => (
          <JointRow key={part} joint={3 * leg + k} label={JOINT_WORDS[part]} />
        ))}
        <p class="small">A leg that is moved joint by joint keeps these angles; dragging its foot takes it by the foot again.</p>
      </details>
    </>
  );
}

const JOINT_WORDS = { coxa: "Coxa", femur: "Femur", tibia: "Tibia" } as const;

export function JointRow({ joint, label }: { joint: number; label: string }): JSX.Element {
  const maker = useMaker();
  const poser = usePoser();
  const value = useComputed(() => poser.now.value?.joints[joint] ?? 0);
  const made = maker.house.value?.maker;
  return (
    <Row
      label={label}
      unit="°"
      value={value}
      min={Math.ceil(made?.low_deg[joint] ?? -90)}
      max={Math.floor(made?.high_deg[joint] ?? 90)}
      move={(to, gesture) => poser.moveJoint(joint, to, gesture)}
    />
  );
}

/** A joint besides the legs, such as a head. */
export function ExtraFields({ name }: { name: string }): JSX.Element {
  const maker = useMaker();
  const joint = maker.house.value?.robot.joints.indexOf(name) ?? -1;
  return joint < 0 ? <></> : <JointRow joint={joint} label={capital(name.replaceAll("_", " "))} />;
}
