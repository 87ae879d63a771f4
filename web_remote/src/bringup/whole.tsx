/** The steps that look at the whole robot: the cautions, level, each leg, the floor. */

import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useEffect } from "preact/hooks";
import { useRemote } from "../ui/context.ts";
import { Gate } from "../ui/Gate.tsx";
import { OnTheRobot } from "../ui/OnTheRobot.tsx";
import { TurnStrip } from "../ui/TurnStrip.tsx";
import { WalkPad } from "../ui/WalkPad.tsx";
import { Caution, Moved, ReadTo, type StepProps } from "./parts.tsx";
import { plainName } from "../words.ts";
import { deg, jointWords, type LegWay, minutesLeft, type Way } from "./words.ts";

const BEFORE = [
  "The robot is on a stand, and no foot reaches the table.",
  "The switch in its supply is within reach. No button on a screen replaces it.",
  "Nobody has fingers between its parts. A servo pinches, and starts without warning.",
  "The lithium pack is undamaged, and is charged under somebody’s eyes, by its maker’s rules, on something that does not burn.",
  "Chargers and whatever else is on the mains follow your local rules; wiring there is for qualified people.",
] as const;

export function Ready(props: StepProps): JSX.Element {
  const ticked = useSignal<readonly number[]>([]);
  const all = ticked.value.length === BEFORE.length;
  return (
    <>
      <p>
        About {minutesLeft(props.bringup)} minutes with this screen in one hand and a screwdriver in the other. Leave at any
        step, and go on later.
      </p>
      <ReadTo bringup={props.bringup} able={props.able} />
      <fieldset class="before">
        <legend>See to it that</legend>
        {BEFORE.map((words, i) => (
          <label key={words} class="check">
            <input
              type="checkbox"
              checked={ticked.value.includes(i)}
              onChange={(event) => {
                const others = ticked.value.filter((each) => each !== i);
                ticked.value = event.currentTarget.checked ? [...others, i] : others;
              }}
            />
            <span>{words}</span>
          </label>
        ))}
      </fieldset>
      <button type="button" class="primary big" disabled={!props.able || !all} onClick={props.done}>
        All of that is so
      </button>
    </>
  );
}

export function Level(props: StepProps): JSX.Element {
  const remote = useRemote();
  const { bringup, able, item } = props;
  const mode = remote.state.value?.mode ?? "limp";
  const stance = Number(item.split(".")[0]);
  const legs = remote.robot.value?.legs.map(({ name }) => name) ?? [];
  const texts = useSignal<readonly string[]>([]);
  useEffect(() => {
    texts.value = legs.map(() => "");
  }, [item, legs.length]);
  const heights = legs.map((_, i) => {
    const value = Number.parseFloat((texts.value[i] ?? "").replace(",", "."));
    return Number.isFinite(value) && value > 0 && value < 2000 ? value : null;
  });
  const read = legs.filter((_, i) => heights[i] !== null);
  const misread = (bringup.level?.odd ?? []).filter((odd) => odd.stance === stance).map((odd) => odd.leg);
  const only = read.length > 0 && read.every((leg) => misread.includes(leg));
  const enough = read.length >= 3 || only;
  const standing = bringup.stances[stance] ?? [];
  const up = mode === "rest" || mode === "playing" || mode === "moving";
  return (
    <>
      <p>
        On a flat table it stands on three feet: <strong>{standing.map(plainName).join(", ")}</strong>. Measure
        with a ruler from the table to the middle of each hip’s axis.
      </p>
      {up ? (
        <button
          type="button"
          class="big"
          disabled={!able}
          onClick={() => remote.send({ type: "bringup_stand", stance })}
        >
          Stand like that
        </button>
      ) : (
        <>
          <Caution>Take it off its stand and set it on the table, feet down. It stands up by itself; hands off.</Caution>
          <button
            type="button"
            class="big"
            disabled={!able}
            onClick={() => {
              remote.send({ type: "bringup_leave" });
              remote.send({ type: "resume" });
            }}
          >
            It is on the table: stand up
          </button>
        </>
      )}
      <form
        class="heights"
        onSubmit={(event) => {
          event.preventDefault();
          if (!enough || !able) return;
          remote.send({ type: "bringup_heights", stance, heights_mm: heights });
          if (read.length >= 3) props.next();
          else texts.value = legs.map(() => "");
        }}
      >
        {legs.map((leg, i) => (
          <label key={leg} class="field">
            {jointWords(leg)}
            <span class="with-unit">
              <input
                type="text"
                inputMode="decimal"
                autocomplete="off"
                value={texts.value[i] ?? ""}
                onInput={(event) => {
                  const value = event.currentTarget.value;
                  texts.value = texts.value.map((each, k) => (k === i ? value : each));
                }}
              />
              <span aria-hidden="true">mm</span>
            </span>
          </label>
        ))}
        <button type="submit" class="primary" disabled={!enough || !able}>
          Take these heights
        </button>
      </form>
      <Outcome {...props} />
    </>
  );
}

/** What the heights lead to: how well they agree, which do not, and what trims become. */
function Outcome({ bringup, able }: StepProps): JSX.Element | null {
  const remote = useRemote();
  const { level, told, joints } = bringup;
  if (!level) return null;
  const changed = level.trims_deg
    .map((by, i) => ({ name: joints[i]?.name ?? "", by }))
    .filter(({ by }) => Math.abs(by) >= 0.05);
  return (
    <section aria-label="What the heights say">
      <h4>From {told.length} stances</h4>
      <p>
        With these trims, heights agree within <strong>{level.residual_mm.toFixed(1)} mm</strong>.
      </p>
      {level.odd.map(({ stance, leg, off_mm }) => (
        <p key={`${stance} ${leg}`} class="odd">
          {jointWords(leg)} in stance {stance + 1} is {Math.abs(off_mm).toFixed(0)} mm {off_mm > 0 ? "more" : "less"} than the
          others say. It is left out.{" "}
          <button
            type="button"
            class="in-line"
            disabled={!able}
            onClick={() => remote.send({ type: "bringup_go", step: "level", item: `${stance}.0` })}
          >
            Measure it again
          </button>
        </p>
      ))}
      {level.against.map(({ joint, off_deg }) => (
        <p key={joint} class="odd">
          {jointWords(joint)}: ruler and protractor are {off_deg.toFixed(0)}° apart.{" "}
          <button
            type="button"
            class="in-line"
            disabled={!able}
            onClick={() => remote.send({ type: "bringup_go", step: "angles", item: joint })}
          >
            Read its angles again
          </button>
        </p>
      ))}
      <details>
        <summary>Changes of {changed.length} trims</summary>
        <ul class="plain">
          {changed.map(({ name, by }) => (
            <li key={name}>
              {jointWords(name)} {deg(by)}
            </li>
          ))}
        </ul>
      </details>
      <button type="button" class="primary big" disabled={!able} onClick={() => remote.send({ type: "bringup_level" })}>
        Use these trims
      </button>
    </section>
  );
}

const GOES: Record<LegWay, string> = {
  up: "Did its knee go up first?",
  out: "Did its foot go up and out first?",
  left: "Did the leg go to the robot’s left first, seen from above?",
};

/** The joint that takes a leg each way. */
const BEHIND: Record<LegWay, string> = { left: "coxa", up: "femur", out: "tibia" };

export function Legs(props: StepProps): JSX.Element {
  const remote = useRemote();
  const [leg = "", word = "up"] = props.item.split(" ");
  const way: LegWay = word === "out" || word === "left" ? word : "up";
  const joint = `${leg}.${BEHIND[way]}`;
  const went = (right: boolean): void => {
    remote.send({ type: "bringup_went", leg, way, right, moved: "", moved_way: null });
    if (right) props.next();
  };
  const elsewhere = (moved: string | null, moved_way: Way | null): void => {
    remote.send({ type: "bringup_went", leg, way, right: false, moved, moved_way });
  };
  return (
    <>
      <div class="joint-head">
        <h3>{jointWords(leg)}</h3>
      </div>
      <p>On its stand, this leg goes to where it stands, and then there and back, twice. All others are limp.</p>
      <button
        type="button"
        class="big"
        disabled={!props.raw}
        onClick={() => remote.send({ type: "bringup_leg", leg, way })}
      >
        Move the leg
      </button>
      <Moved
        bringup={props.bringup}
        joint={joint}
        able={props.able}
        question={GOES[way]}
        answers={
          <>
            <button type="button" class="primary" disabled={!props.able} onClick={() => went(true)}>
              Yes
            </button>
            <button type="button" disabled={!props.able} onClick={() => went(false)}>
              The other way
            </button>
          </>
        }
        onOther={elsewhere}
        onNothing={() => elsewhere(null, null)}
      />
      <p class="small">What you answer mends the plugs and the directions; then move the leg again.</p>
    </>
  );
}

export function Floor(props: StepProps): JSX.Element {
  const remote = useRemote();
  const mode = remote.state.value?.mode;
  const may = remote.mayDrive.value;
  useEffect(() => {
    remote.setPace(0.25);
  }, [remote]);
  if (mode === "setup" || mode === "limp" || mode === "halted") {
    return (
      <>
        <Caution>
          Set it on the floor with a metre of room on every side, feet down. It stands up by itself. Keep the switch in reach.
        </Caution>
        <button
          type="button"
          class="big"
          disabled={!props.able || mode === "halted"}
          onClick={() => {
            remote.send({ type: "bringup_leave" });
            remote.send({ type: "resume" });
          }}
        >
          It is on the floor: stand up
        </button>
      </>
    );
  }
  return (
    <>
      <p>A quarter of its pace. Walk it a step forward, back, to each side, and turn it. Let go, and it stands.</p>
      <div class="bring-pad">
        <WalkPad />
      </div>
      <TurnStrip />
      <Gate may={may} />
      <OnTheRobot />
      <button type="button" class="primary big" disabled={!props.able} onClick={props.done}>
        It walks
      </button>
    </>
  );
}
