/** The steps that look at one servo at a time: horns, what moves, angles, ends. */

import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useRemote } from "../ui/context.ts";
import { Caution, JointHead, jointOf, Moved, Nudges, Pulse, ReadTo, type StepProps, Typed } from "./parts.tsx";
import { deg, jointWords, measured, opposite, us, type Way, ways } from "./words.ts";

export function Centre(props: StepProps): JSX.Element | null {
  const remote = useRemote();
  const joint = jointOf(props);
  if (!joint) return null;
  const leg = joint.name.includes(".") ? joint.name.split(".")[0] : null;
  const all = props.bringup.joints.filter(({ name }) => leg && name.startsWith(`${leg}.`)).map(({ name }) => name);
  return (
    <>
      <JointHead joint={joint} />
      <p>
        The servo goes to the middle of its travel. Put the horn on so that the joint stands as near to{" "}
        <strong>{deg(joint.mid_deg)}</strong> as its teeth allow. {measured(joint.name)}
      </p>
      <Caution>It goes there at once and with all its strength. Hands off until it is still.</Caution>
      <Pulse bringup={props.bringup} joint={joint} />
      <div class="choices">
        <button
          type="button"
          disabled={!props.raw}
          onClick={() => remote.send({ type: "bringup_centre", joints: [joint.name] })}
        >
          To the middle
        </button>
        {all.length > 1 && all.length <= props.bringup.at_once && (
          <button
            type="button"
            disabled={!props.raw}
            onClick={() => remote.send({ type: "bringup_centre", joints: all })}
          >
            The whole leg
          </button>
        )}
      </div>
      <button type="button" class="primary big" disabled={!props.able} onClick={props.done}>
        The horn is on
      </button>
      <button
        type="button"
        disabled={!props.able}
        onClick={() => {
          remote.send({ type: "bringup_done", step: "centre", item: "" });
          remote.send({ type: "bringup_go", step: "look", item: "" });
        }}
      >
        All horns are on
      </button>
    </>
  );
}

export function Look(props: StepProps): JSX.Element | null {
  const remote = useRemote();
  const joint = jointOf(props);
  if (!joint) return null;
  const saw = (moved: string, way: Way | null): void => {
    remote.send({ type: "bringup_saw", joint: joint.name, moved, way });
    props.next();
  };
  const [more, less] = ways(joint.name);
  return (
    <>
      <div class="joint-head">
        <h3>{jointWords(joint.name)}</h3>
        <p>
          <span class="pin">Pin {joint.pin}</span>
        </p>
      </div>
      <p>The pulse on this pin grows longer and shorter again, twice. Watch which joint goes, and which way it goes first.</p>
      <Pulse bringup={props.bringup} joint={joint} />
      <button
        type="button"
        class="big"
        disabled={!props.raw}
        onClick={() => remote.send({ type: "bringup_try", joint: joint.name })}
      >
        Move it
      </button>
      <Moved
        bringup={props.bringup}
        joint={joint.name}
        able={props.able}
        question="Did it move, and which way first?"
        answers={
          <>
            <button type="button" disabled={!props.able} onClick={() => saw(joint.name, "more")}>
              {more}
            </button>
            <button type="button" disabled={!props.able} onClick={() => saw(joint.name, "less")}>
              {less}
            </button>
          </>
        }
        onOther={saw}
        onNothing={() => saw("", null)}
      />
    </>
  );
}

/** Trim and microseconds per degree: by eye with small steps, or by a protractor at two places. */
export function Angles(props: StepProps): JSX.Element | null {
  const remote = useRemote();
  const { bringup, raw, able } = props;
  const joint = jointOf(props);
  const at = useSignal<number | null>(null);
  /** The pulse at which an angle was misread, when it is to be read again. */
  const again = useSignal<number | null>(null);
  if (!joint) return null;
  const held = bringup.held.find((each) => each.joint === joint.name);
  const other = opposite(joint.name, bringup.joints);
  const mark = at.value ?? joint.mid_deg;
  const odd = joint.readings.find(({ off_deg }) => off_deg !== null);
  const stand = (angle: number, names: string[]): void => {
    at.value = angle;
    remote.send({ type: "bringup_angle", joints: names, angles_deg: names.map(() => angle) });
  };
  const read = again.value ?? joint.next_us;
  const here = held && read !== null && held.pulse_us === read;
  return (
    <>
      <JointHead joint={joint} />
      <dl class="numbers">
        <div>
          <dt>Trim</dt>
          <dd data-testid="trim">{deg(joint.trim_deg)}</dd>
        </div>
        <div>
          <dt>µs a degree</dt>
          <dd>{joint.us_per_deg.toFixed(2)}</dd>
        </div>
        <div>
          <dt>Known to</dt>
          <dd>{joint.spread_deg === null ? "–" : `±${joint.spread_deg.toFixed(1)}°`}</dd>
        </div>
      </dl>
      <Pulse bringup={bringup} joint={joint} />
      <section aria-label="By protractor">
        <h4>By protractor</h4>
        <p class="small">{measured(joint.name)}</p>
        {odd && again.value === null && (
          <button
            type="button"
            disabled={!able}
            onClick={() => {
              again.value = odd.pulse_us;
            }}
          >
            Read again what was read as {deg(odd.angle_deg)}
          </button>
        )}
        {read === null ? (
          <p>Read often enough: {joint.readings.length} times.</p>
        ) : (
          <>
            <button
              type="button"
              disabled={!raw || here === true}
              onClick={() => remote.send({ type: "bringup_pulse", joint: joint.name, pulse_us: read })}
            >
              Go to {us(read)}
            </button>
            <Typed
              key={`${joint.name} ${joint.readings.length}`}
              label="The protractor says"
              unit="°"
              low={-200}
              high={200}
              take="Take it"
              able={able && here === true && bringup.still}
              onTake={(angle_deg) => {
                remote.send({ type: "bringup_read", joint: joint.name, pulse_us: read, angle_deg });
                again.value = null;
              }}
            />
          </>
        )}
        {joint.readings.length > 0 && (
          <p class="small">
            Read: {joint.readings.map(({ pulse_us, angle_deg }) => `${deg(angle_deg)} at ${us(pulse_us)}`).join(", ")}.{" "}
            <button
              type="button"
              class="in-line"
              disabled={!able}
              onClick={() => remote.send({ type: "bringup_forget", joint: joint.name })}
            >
              Forget these
            </button>
          </p>
        )}
        <ReadTo bringup={bringup} able={able} />
      </section>
      <section aria-label="By eye">
        <h4>By eye</h4>
        <div class="choices">
          <button type="button" disabled={!raw} onClick={() => stand(joint.mid_deg, [joint.name])}>
            Hold at {deg(joint.mid_deg)}
          </button>
          {other ? (
            <button type="button" disabled={!raw} onClick={() => stand(mark, [joint.name, other])}>
              Both sides at {deg(mark)}
            </button>
          ) : (
            <span />
          )}
        </div>
        <Nudges
          name="Trim"
          by={[5, 1, 0.2]}
          unit="°"
          able={able}
          onNudge={(by) =>
            remote.send({
              type: "bringup_trim",
              joint: joint.name,
              trim_deg: Math.max(-45, Math.min(45, Math.round((joint.trim_deg + by) * 100) / 100)),
            })
          }
        />
        <button
          type="button"
          disabled={!able}
          aria-pressed={joint.reversed}
          onClick={() => remote.send({ type: "bringup_turn", joint: joint.name, reversed: !joint.reversed })}
        >
          Swap direction
        </button>
      </section>
      <button type="button" class="primary big" disabled={!able} onClick={props.done}>
        It stands right
      </button>
    </>
  );
}

export function Ends(props: StepProps): JSX.Element | null {
  const remote = useRemote();
  const { bringup, raw, able } = props;
  const joint = jointOf(props);
  if (!joint) return null;
  const held = bringup.held.find((each) => each.joint === joint.name);
  const now = held?.pulse_us ?? joint.mid_us;
  const go = (pulse: number): void => {
    const within = Math.max(Math.ceil(joint.low_us), Math.min(Math.floor(joint.high_us), Math.round(pulse)));
    remote.send({ type: "bringup_pulse", joint: joint.name, pulse_us: within });
  };
  const end = (which: "low" | "high", pulse_us: number | null): void => {
    remote.send({ type: "bringup_limit", joint: joint.name, which, pulse_us });
  };
  return (
    <>
      <JointHead joint={joint} />
      <p>
        Drive it slowly to where it may go no further, a little before it touches anything. No pulse passes an end, whoever
        asks for it. Only for joints that can hit something.
      </p>
      <dl class="numbers">
        <div>
          <dt>Shortest</dt>
          <dd>{us(joint.low_us)}</dd>
        </div>
        <div>
          <dt>Longest</dt>
          <dd>{us(joint.high_us)}</dd>
        </div>
      </dl>
      <Pulse bringup={bringup} joint={joint} />
      <Nudges
        name="Pulse"
        by={[100, 20, 5]}
        unit=""
        able={raw}
        // A servo that had no pulse begins in the middle.
        onNudge={(by) => go(held ? now + by : joint.mid_us)}
      />
      <div class="choices">
        <button type="button" disabled={!able || !held || now >= joint.high_us} onClick={() => end("low", now)}>
          Shortest is here
        </button>
        <button type="button" disabled={!able || !held || now <= joint.low_us} onClick={() => end("high", now)}>
          Longest is here
        </button>
        <button
          type="button"
          disabled={!able}
          onClick={() => {
            end("low", null);
            end("high", null);
          }}
        >
          Open both
        </button>
      </div>
      <button type="button" class="primary big" disabled={!able} onClick={props.done}>
        Next joint
      </button>
    </>
  );
}
