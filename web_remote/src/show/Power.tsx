import { useSignal } from "@preact/signals";
import type { JSX, TargetedSubmitEvent } from "preact";
import { useRemote } from "../ui/context.ts";
import { Gate } from "../ui/Gate.tsx";
import { batteryWords } from "../words.ts";

/** The battery by one value of a multimeter, and what the supply has to be. */
export function Power(): JSX.Element {
  const remote = useRemote();
  const battery = remote.state.value?.battery ?? null;
  return (
    <>
      <p class="ready-big" data-testid="power">
        {batteryWords(battery).full}
      </p>
      <Meter />
      <Supply />
      <section aria-label="Caution">
        <h2>Lithium packs and chargers</h2>
        <p class="small">
          Charge with a charger made for the pack, watched, on what does not burn. Do not use one that is swollen or hurt. For
          mains chargers local rules come first, and qualified people. Keep a fuse in the lead and the supply’s switch within
          reach.
        </p>
      </section>
    </>
  );
}

function Meter(): JSX.Element {
  const remote = useRemote();
  const value = useSignal("");
  const may = remote.mayCommand.value;
  const volts = Number(value.value.replace(",", "."));
  const wrong = value.value !== "" && !(volts > 0 && volts <= 60);
  const give = (event: TargetedSubmitEvent<HTMLFormElement>): void => {
    event.preventDefault();
    if (value.value !== "" && !wrong && may.able) remote.send({ type: "meter_shows", volts });
  };
  return (
    <form class="ready-form" aria-label="By a meter" onSubmit={give}>
      <h2>By a meter</h2>
      <p class="small">
        While the robot stands still, hold a multimeter’s tips to the battery’s plug, without touching them together. The robot’s
        reading is then worth what the meter shows, also tomorrow.
      </p>
      <Gate may={may} />
      <label class="field">
        The meter shows, in volts
        <input
          type="text"
          inputMode="decimal"
          autocomplete="off"
          maxLength={6}
          aria-invalid={wrong}
          value={value.value}
          onInput={(event) => {
            value.value = event.currentTarget.value;
          }}
        />
      </label>
      {wrong && <p class="wrong">Expected volts, as 7.62.</p>}
      <button type="submit" class="primary" disabled={!may.able || value.value === "" || wrong}>
        Read it so
      </button>
    </form>
  );
}

function Supply(): JSX.Element {
  const remote = useRemote();
  const told = remote.supply.value;
  return (
    <section aria-label="Regulator">
      <h2>The regulator</h2>
      {told === null && <p class="small">Worked out over all moves at all voltages that the servos take: some minutes.</p>}
      {told?.working && <p role="status">Being worked out…</p>}
      {told && !told.working && (
        <ul class="ready-words">
          {told.words.map((word) => (
            <li key={word}>{word}.</li>
          ))}
        </ul>
      )}
      <button type="button" disabled={told?.working === true} onClick={() => remote.send({ type: "ask_supply" })}>
        What must it be?
      </button>
    </section>
  );
}
