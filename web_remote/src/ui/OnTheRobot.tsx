import type { JSX } from "preact";
import type { RobotKeeps } from "../messages.gen.ts";
import { useRemote } from "./context.ts";
import { Gate } from "./Gate.tsx";

const WORDS: Record<RobotKeeps["state"], string> = {
  unknown: "The robot has not answered yet.",
  reading: "Reading what the robot keeps…",
  same: "The robot and this hub have the same calibration.",
  differs: "The robot has another calibration than this hub. Neither is changed until you say which is right.",
  sending: "The hub’s calibration is on its way to the robot…",
  waiting: "The robot has the hub’s calibration, and uses it once no servo stands beyond the new ends.",
  refused: "The robot refused the hub’s calibration: an end in it is beyond the servo’s own ends.",
  failed: "The robot could not keep the calibration: its memory is worn out.",
};
const SHOWN = 6;

/** How the calibration that the robot keeps compares with the hub's, and which of the two goes over the other. */
export function OnTheRobot(): JSX.Element | null {
  const remote = useRemote();
  const keeps = remote.keeps.value;
  if (!keeps) return null;
  const { state, sent, differences } = keeps;
  const may = remote.mayCommand.value;
  const choose = state === "differs" || state === "refused" || state === "failed";
  const more = differences.length - SHOWN;
  return (
    <section aria-label="Calibration on the robot">
      <h2>Calibration on the robot</h2>
      <p class={choose ? undefined : "small"} role="status">
        {WORDS[state]}
        {state === "same" && (sent ? " It was sent to it." : " It came with its program.")}
      </p>
      {differences.length > 0 && (
        <ul class="small">
          {differences.slice(0, SHOWN).map(({ joint, ours, theirs }) => (
            <li key={joint}>
              <b>{joint}</b>: {ours} here, {theirs} there
            </li>
          ))}
          {more > 0 && <li>and {more} more</li>}
        </ul>
      )}
      {choose && (
        <>
          <Gate may={may} />
          <div class="choices">
            <button
              type="button"
              disabled={!may.able}
              onClick={() => remote.send({ type: "send_calibration" })}
            >
              Put the hub’s on the robot
            </button>
            {state === "differs" && (
              <button
                type="button"
                disabled={!may.able}
                onClick={() => remote.send({ type: "take_calibration" })}
              >
                Take the robot’s
              </button>
            )}
          </div>
          <p class="small">Joints turn slowly to where the other one has them. Keep fingers clear.</p>
        </>
      )}
    </section>
  );
}
