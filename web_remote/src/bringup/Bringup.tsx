/**
 * Bring-up in place of the cards: one step on the screen at a time. The hub keeps where people are and all that they
 * have answered; here is only what is shown of it. Loaded when it is first opened.
 */

import { useSignal } from "@preact/signals";
import type { ComponentType, JSX } from "preact";
import { useEffect, useLayoutEffect, useRef } from "preact/hooks";
import { useRemote } from "../ui/context.ts";
import { Gate } from "../ui/Gate.tsx";
import { sentence } from "../words.ts";
import { Caution, type StepProps } from "./parts.tsx";
import { Angles, Centre, Ends, Look } from "./servos.tsx";
import { Floor, Legs, Level, Ready } from "./whole.tsx";
import { beside, isDone, minutesLeft, type Place, placeOf, STEPS, type StepName } from "./words.ts";

const SCREENS: Record<StepName, ComponentType<StepProps>> = {
  ready: Ready,
  centre: Centre,
  look: Look,
  angles: Angles,
  ends: Ends,
  level: Level,
  legs: Legs,
  floor: Floor,
};
/** Steps for which joints get raw pulses. */
const RAW: readonly StepName[] = ["centre", "look", "angles", "ends", "legs"];

export function Bringup(): JSX.Element {
  const remote = useRemote();
  const bringup = remote.bringup.value;
  const may = remote.mayCommand.value;
  const heading = useRef<HTMLHeadingElement>(null);
  const place = bringup && placeOf(bringup);
  const pointed = place && RAW.includes(place.step) ? pointedAt(place) : null;
  useEffect(() => {
    remote.pointed.value = pointed;
    return () => {
      remote.pointed.value = null;
    };
  }, [remote, pointed]);
  const key = place ? `${place.step} ${place.item}` : "";
  const was = useRef(key);
  // With the change itself: a moment later, somebody's next key would be taken from where they had gone meanwhile.
  useLayoutEffect(() => {
    // Who reads with ears or walks by keys is taken along; at first nothing is taken from anybody.
    if (was.current && was.current !== key) heading.current?.focus();
    was.current = key;
    document.querySelector(".bring-body")?.scrollTo(0, 0);
  }, [key]);

  if (!bringup || !place) return <p class="empty">One moment.</p>;
  const go = (to: Place | null): void => {
    if (to) remote.send({ type: "bringup_go", step: to.step, item: to.item });
  };
  const mode = remote.state.value?.mode;
  const up = remote.state.value?.link.up ?? false;
  const next = (): void => go(beside(bringup, place, 1));
  const step = bringup.steps.find(({ name }) => name === place.step);
  const at = (step?.items.indexOf(place.item) ?? 0) + 1;
  const left = minutesLeft(bringup);
  const Screen = SCREENS[place.step];
  const raw = may.able && up && mode === "setup";
  return (
    <div class="bring">
      <div class="bring-head">
        <div class="bring-title">
          <h2 ref={heading} tabIndex={-1}>
            {STEPS[place.step]}
          </h2>
          <p class="small">
            {step && step.items.length > 1 ? `${at} of ${step.items.length}` : "Bring-up"}
            {isDone(bringup, place) ? ", done" : ""} · <span data-testid="saved">{bringup.saved ? "saved" : "saving…"}</span>
            {left > 0 && ` · ${left} min left`}
          </p>
        </div>
        <div class="bring-step">
          <select
            aria-label="Step"
            value={place.step}
            disabled={!may.able}
            onChange={(event) => {
              const to = bringup.steps.find(({ name }) => name === event.currentTarget.value);
              const first = to?.items.find((item) => !to.done.includes(item)) ?? to?.items[0];
              if (to && first !== undefined) go({ step: to.name, item: first });
            }}
          >
            {bringup.steps
              .filter(({ items }) => items.length > 0)
              .map(({ name, items, done }) => (
                <option key={name} value={name}>
                  {STEPS[name]} {done.length >= items.length ? "✓" : items.length > 1 ? `${done.length}/${items.length}` : ""}
                </option>
              ))}
          </select>
        </div>
        <button
          type="button"
          onClick={() => {
            remote.brings.value = false;
          }}
        >
          Close
        </button>
      </div>
      <div class="bring-body">
        <Gate may={may} />
        {bringup.problems.map((words) => (
          <p key={words} class="odd">
            {sentence(words)}
          </p>
        ))}
        {RAW.includes(place.step) && may.able && mode !== "setup" && <Begin />}
        <Screen key={key} bringup={bringup} item={place.item} raw={raw} able={may.able} next={next} done={() => {
          remote.send({ type: "bringup_done", step: place.step, item: place.item });
          next();
        }} />
        {bringup.found.length > 0 && (
          <details class="found">
            <summary>Found so far: {bringup.found.length}</summary>
            <ul class="plain">
              {bringup.found.map((words) => (
                <li key={words}>{sentence(words)}</li>
              ))}
            </ul>
          </details>
        )}
      </div>
      <div class="bring-foot">
        <button type="button" disabled={!may.able || !beside(bringup, place, -1)} onClick={() => go(beside(bringup, place, -1))}>
          Back
        </button>
        <button
          type="button"
          disabled={!may.able || !bringup.back}
          title={bringup.back}
          onClick={() => remote.send({ type: "bringup_back" })}
        >
          Take back
        </button>
        {mode === "setup" && (
          <button type="button" disabled={!may.able || bringup.held.length === 0} onClick={() => remote.send({ type: "bringup_drop" })}>
            No pulse
          </button>
        )}
        <button type="button" disabled={!may.able || !beside(bringup, place, 1)} onClick={next}>
          Skip
        </button>
      </div>
    </div>
  );
}

function pointedAt({ step, item }: Place): string {
  if (step !== "legs") return item;
  const [leg, way] = item.split(" ");
  return `${leg}.${way === "left" ? "coxa" : way === "out" ? "tibia" : "femur"}`;
}

/** From standing or limp to raw pulses: the robot drops when it begins, so it is asked for twice. */
function Begin(): JSX.Element {
  const remote = useRemote();
  const asks = useSignal(false);
  const mode = remote.state.value?.mode;
  if (mode === "halted") return <p class="gate">It is stopped, and what has a pulse holds. Lift the stop below.</p>;
  if (mode === "limp") {
    return (
      <div class="begin">
        <Caution>On its stand, fingers out, the supply’s switch in reach?</Caution>
        <button type="button" class="primary big" onClick={() => remote.send({ type: "bringup_begin" })}>
          Begin with pulses
        </button>
      </div>
    );
  }
  if (!asks.value) {
    return (
      <div class="begin">
        <Caution>This step needs the robot on its stand and limp: it lets go of every joint first.</Caution>
        <button
          type="button"
          class="big"
          onClick={() => {
            asks.value = true;
          }}
        >
          It is on its stand…
        </button>
      </div>
    );
  }
  return (
    <div class="asks" role="group" aria-label="Let go and begin">
      <p>It sags at once where nothing holds it up.</p>
      <div class="choices">
        <button
          type="button"
          onClick={() => {
            asks.value = false;
          }}
        >
          Not yet
        </button>
        <button
          type="button"
          class="grave"
          onClick={() => {
            remote.send({ type: "limp", sure: true });
            remote.send({ type: "bringup_begin" });
          }}
        >
          Let go and begin
        </button>
      </div>
    </div>
  );
}
