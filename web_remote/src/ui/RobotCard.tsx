import { useComputed, useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useEffect, useRef } from "preact/hooks";
import { batteryWords, capital, frameWords, plainName } from "../words.ts";
import { useHouse, useRemote } from "./context.ts";
import { Gate } from "./Gate.tsx";
import { ReadyWay } from "./ReadyWay.tsx";
import { OnTheRobot } from "./OnTheRobot.tsx";

/** What one wants to know or do now and then: figures, letting it go limp, this device's name. */
export function RobotCard(): JSX.Element {
  const { mayCommand } = useRemote();
  return (
    <div class="robot">
      <Figures />
      <OnTheRobot />
      <BringUp />
      <ReadyWay />
      <section aria-label="Limp">
        <h2>Let go</h2>
        <Gate may={mayCommand.value} />
        <Limp able={mayCommand.value.able} />
      </section>
      <Device />
    </div>
  );
}

/** The way to the place where servos are centred, trimmed and the robot is levelled. */
function BringUp(): JSX.Element {
  const remote = useRemote();
  const next = useComputed(() => remote.bringup.value?.next ?? null);
  const begun = useComputed(() => remote.bringup.value?.steps.some(({ done }) => done.length > 0) ?? false);
  return (
    <section aria-label="Bring-up">
      <h2>Bring-up</h2>
      <p class="small">
        {next.value === null
          ? "All of it is done. Any step can be looked at again."
          : "From loose servos to a robot that stands level: horns, plugs, directions, trims, a ruler, first steps."}
      </p>
      <button
        type="button"
        disabled={remote.bringup.value === null}
        onClick={() => {
          remote.brings.value = true;
        }}
      >
        {begun.value && next.value ? "Go on with it" : "Bring it up"}
      </button>
    </section>
  );
}

function Figures(): JSX.Element {
  const { robot, state, welcome } = useRemote();
  const rows = useComputed<[string, string][]>(() => {
    const now = state.value;
    if (!now) return [];
    const { link, battery, down, margin_mm, watchers } = now;
    const feet = down.filter(Boolean).length;
    return [
      ["Feet down", `${feet} of ${down.length}`],
      ["Stability margin", `${margin_mm.toFixed(0)} mm`],
      ["Battery", batteryWords(battery).full.replace("Battery ", "")],
      ["Radio, there and back", link.round_trip_ms === null ? "no answer" : `${link.round_trip_ms.toFixed(0)} ms`],
      ["Frames lost", `${(link.lost_share * 100).toFixed(link.lost_share < 0.1 ? 1 : 0)} %`],
      ["Frames sent", frameWords(link)],
      ["Radio in use", `${link.bytes_s.toFixed(0)} of ${link.budget_bytes_s.toFixed(0)} bytes/s`],
      ["Watching", String(watchers)],
    ];
  });
  return (
    <section aria-label="Figures">
      <h2>{robot.value ? capital(plainName(robot.value.name)) : "Robot"}</h2>
      <dl class="figures">
        {rows.value.map(([name, value]) => (
          <div key={name}>
            <dt>{name}</dt>
            <dd>{value}</dd>
          </div>
        ))}
      </dl>
      {welcome.value && <p class="small">Hub {welcome.value.hub_version}</p>}
    </section>
  );
}

/** Asks twice, in its place on the card: a window over everything would cover Stop. */
function Limp({ able }: { able: boolean }): JSX.Element {
  const remote = useRemote();
  const asks = useSignal(false);
  const no = useRef<HTMLButtonElement>(null);
  useEffect(() => {
    if (asks.value) no.current?.focus();
  }, [asks.value]);
  if (!asks.value || !able) {
    return (
      <>
        <p class="small">Limp ends the pulses to every servo: the robot sags, and can be bent by hand.</p>
        <button
          type="button"
          disabled={!able}
          onClick={() => {
            asks.value = true;
          }}
        >
          Let it go limp…
        </button>
      </>
    );
  }
  const answer = (sure: boolean): void => {
    asks.value = false;
    if (sure) remote.send({ type: "limp", sure });
  };
  return (
    <div class="asks" role="alertdialog" aria-labelledby="limp-asks" aria-describedby="limp-why">
      <h3 id="limp-asks">Let it sag?</h3>
      <p id="limp-why">It drops to its belly at once. Keep fingers out from under it.</p>
      <div class="choices">
        <button type="button" ref={no} onClick={() => answer(false)}>
          Keep standing
        </button>
        <button type="button" class="grave" onClick={() => answer(true)}>
          Yes, go limp
        </button>
      </div>
    </div>
  );
}

function Device(): JSX.Element {
  const { pairing, pair } = useHouse();
  const name = useSignal(pairing.name);
  return (
    <section aria-label="This device">
      <h2>This device</h2>
      <label class="field">
        Its name, for the status line
        <input
          type="text"
          maxLength={40}
          autocomplete="off"
          value={name.value}
          onInput={(event) => {
            name.value = event.currentTarget.value;
          }}
          onChange={() => {
            const before = pairing.name;
            pairing.name = name.value;
            name.value = pairing.name;
            // The hub asks for the name in the greeting, so a new one needs a new greeting.
            if (pairing.name !== before) pair(pairing.key);
          }}
        />
      </label>
      <p class="small">It is paired with this hub. Forgetting the key ends that until it is scanned or typed again.</p>
      <button type="button" onClick={() => pair(null)}>
        Forget the key
      </button>
    </section>
  );
}
