import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useRemote } from "../ui/context.ts";
import { Gate } from "../ui/Gate.tsx";
import { useMaker } from "./context.ts";
import { FromOutside } from "./bring/FromOutside.tsx";
import { ToOutside } from "./bring/ToOutside.tsx";

/** On the robot, from outside, and to it. */
export function Bring(): JSX.Element {
  return (
    <>
      <OnTheRobot />
      <FromOutside />
      <ToOutside />
    </>
  );
}

const SHARES = [0.25, 0.5, 1] as const;

/** Slowly first: only who holds control may, and Stop is where it always is. */
function OnTheRobot(): JSX.Element {
  const remote = useRemote();
  const maker = useMaker();
  const share = useSignal<number>(SHARES[0]);
  const may = remote.mayPlay.value;
  return (
    <section class="make-robot" aria-label="On the robot">
      <h2>On the robot</h2>
      <Gate may={may} />
      <div class="make-tools">
        <label class="field">
          Speed
          <select
            value={share.value}
            onChange={(event) => {
              share.value = Number(event.currentTarget.value);
            }}
          >
            {SHARES.map((each) => (
              <option key={each} value={each}>
                {each === 1 ? "full" : `${each * 100} %`}
              </option>
            ))}
          </select>
        </label>
        <button
          type="button"
          disabled={!may.able || !maker.judged.value?.fits || maker.stale.value}
          onClick={() => maker.rehearse(share.value)}
        >
          Play this on the robot
        </button>
      </div>
    </section>
  );
}
