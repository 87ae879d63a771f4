/** Small parts that several steps of bring-up share. */

import { type Signal, useSignal } from "@preact/signals";
import type { ComponentChildren, JSX } from "preact";
import type { Bringup, BringupJoint } from "../messages.gen.ts";
import { useRemote } from "../ui/context.ts";
import { jointWords, us, type Way, ways } from "./words.ts";

/** What every step is given. */
export interface StepProps {
  bringup: Bringup;
  item: string;
  /** Whether raw pulses may be asked for now. */
  raw: boolean;
  /** Whether anything may be told at all. */
  able: boolean;
  /** Mark this item as done, and go on to the next. */
  done: () => void;
  next: () => void;
}

export function jointOf({ bringup, item }: Pick<StepProps, "bringup" | "item">): BringupJoint | undefined {
  return bringup.joints.find(({ name }) => name === item);
}

/** Which joint it is, where it is plugged in, and which way is plus. */
export function JointHead({ joint }: { joint: BringupJoint }): JSX.Element {
  const moved = joint.plugged_pin !== joint.pin;
  const [plus] = ways(joint.name);
  return (
    <div class="joint-head">
      <h3>{jointWords(joint.name)}</h3>
      <p>
        <span class="pin">Pin {joint.plugged_pin}</span>
        {moved && <span class="small"> plugged in where {jointWords(joint.connector).toLowerCase()} belongs</span>}
        <span class="plus">+ is {plus.toLowerCase()}</span>
        {joint.reversed && <span class="small"> servo sits mirrored</span>}
      </p>
    </div>
  );
}

/** The pulse that a joint is held at, or that there is none. */
export function Pulse({ bringup, joint }: { bringup: Bringup; joint: BringupJoint }): JSX.Element {
  const held = bringup.held.find((each) => each.joint === joint.name);
  return (
    <p class="pulse" role="status">
      {held ? `${bringup.still ? "Holds at" : "On its way to"} ${us(held.pulse_us)}` : "No pulse"}
    </p>
  );
}

/** A number that is typed, with its unit and what takes it. */
export function Typed(props: {
  label: string;
  unit: string;
  low: number;
  high: number;
  take: string;
  able: boolean;
  onTake: (value: number) => void;
}): JSX.Element {
  const text = useSignal("");
  const value = Number.parseFloat(text.value.replace(",", ".").replace("−", "-"));
  const good = Number.isFinite(value) && value >= props.low && value <= props.high;
  return (
    <form
      class="typed"
      onSubmit={(event) => {
        event.preventDefault();
        if (!good || !props.able) return;
        props.onTake(value);
        text.value = "";
      }}
    >
      <label class="field">
        {props.label}
        <span class="with-unit">
          <input
            type="text"
            // A phone's pad for decimal numbers may have no minus.
            inputMode={props.low < 0 ? "text" : "decimal"}
            autocomplete="off"
            value={text.value}
            aria-invalid={text.value !== "" && !good}
            onInput={(event) => {
              text.value = event.currentTarget.value;
            }}
          />
          <span aria-hidden="true">{props.unit}</span>
        </span>
      </label>
      <button type="submit" disabled={!good || !props.able}>
        {props.take}
      </button>
    </form>
  );
}

/** What moved: the joint that was asked, with answers of its own, or another one, or nothing. */
export function Moved(props: {
  bringup: Bringup;
  joint: string;
  able: boolean;
  question: string;
  answers: ComponentChildren;
  onOther: (joint: string, way: Way) => void;
  onNothing: () => void;
}): JSX.Element {
  const { able, onOther } = props;
  const other = useSignal(false);
  const which = useSignal("");
  const close = (): void => {
    other.value = false;
    which.value = "";
  };
  const [more, less] = ways(which.value || props.joint);
  const went = (words: string, way: Way): JSX.Element => (
    <button
      type="button"
      disabled={!able || !which.value}
      onClick={() => {
        onOther(which.value, way);
        close();
      }}
    >
      {words}
    </button>
  );
  return (
    <>
      {other.value && <OtherJoint bringup={props.bringup} not={props.joint} which={which} />}
      <p class="asked">{other.value ? "Which way did that go first?" : props.question}</p>
      <div class="choices">
        {other.value ? (
          <>
            {went(more, "more")}
            {went(less, "less")}
          </>
        ) : (
          props.answers
        )}
        <button
          type="button"
          disabled={!able}
          aria-pressed={other.value}
          onClick={() => {
            if (other.value) close();
            else other.value = true;
          }}
        >
          Another joint
        </button>
        <button
          type="button"
          disabled={!able}
          onClick={() => {
            props.onNothing();
            close();
          }}
        >
          Nothing moved
        </button>
      </div>
    </>
  );
}

function OtherJoint(props: { bringup: Bringup; not: string; which: Signal<string> }): JSX.Element {
  const { which } = props;
  return (
    <label class="field">
      Which joint moved?
      <select
        value={which.value}
        onChange={(event) => {
          which.value = event.currentTarget.value;
        }}
      >
        <option value="">Choose</option>
        {props.bringup.joints
          .filter(({ name }) => name !== props.not)
          .map(({ name }) => (
            <option key={name} value={name}>
              {jointWords(name)}
            </option>
          ))}
      </select>
    </label>
  );
}

/** How closely the protractor is read: a finer one needs less than half the readings. */
export function ReadTo({ bringup, able }: { bringup: Bringup; able: boolean }): JSX.Element {
  const remote = useRemote();
  return (
    <label class="field">
      My protractor reads to
      <select
        disabled={!able}
        value={String(bringup.read_to_deg)}
        onChange={(event) =>
          remote.send({ type: "bringup_protractor", read_to_deg: Number.parseFloat(event.currentTarget.value) })
        }
      >
        <option value="1">a degree</option>
        <option value="0.5">half a degree: long arms, or digital</option>
      </select>
    </label>
  );
}

export function Caution({ children }: { children: ComponentChildren }): JSX.Element {
  return <p class="bring-caution">{children}</p>;
}

/** Steps of a number, coarse to fine, down and up. */
export function Nudges(props: {
  name: string;
  by: readonly number[];
  unit: string;
  able: boolean;
  onNudge: (by: number) => void;
}): JSX.Element {
  const down = [...props.by].sort((a, b) => b - a);
  const signed = [...down.map((by) => -by), ...down.reverse()];
  return (
    <div class="nudges" role="group" aria-label={props.name}>
      {signed.map((by) => (
        <button key={by} type="button" disabled={!props.able} onClick={() => props.onNudge(by)}>
          {by < 0 ? "−" : "+"}
          {Math.abs(by)}
          {props.unit}
        </button>
      ))}
    </div>
  );
}
