import { useComputed } from "@preact/signals";
import type { JSX } from "preact";
import { batteryWords, driverWords, linkWords } from "../words.ts";
import { useRemote } from "./context.ts";
import { BatteryMark, HandMark, LinkMark } from "./Marks.tsx";

/** Link, battery, who drives, and taking or giving back control: one line, always there. */
export function StatusLine({ title }: { title: string }): JSX.Element {
  return (
    <header class="status">
      <h1 class="unseen">{title}</h1>
      <Link />
      <Battery />
      <Driving />
    </header>
  );
}

function Link(): JSX.Element {
  const { connection, state } = useRemote();
  const up = useComputed(() => linkWords(connection.value, state.value).up);
  const word = useComputed(() => linkWords(connection.value, state.value).word);
  const full = useComputed(() => linkWords(connection.value, state.value).full);
  const thin = useComputed(() => linkWords(connection.value, state.value).thin ?? false);
  return (
    <p class={up.value ? "status-item" : "status-item broken"} role="status" aria-label="Link" data-testid="link">
      <LinkMark up={up.value} thin={thin.value} />
      <span aria-hidden="true">{word}</span>
      <span class="unseen">{full}</span>
    </p>
  );
}

function Battery(): JSX.Element {
  const { connection, state } = useRemote();
  const level = useComputed(() => (connection.value.phase === "live" ? state.value?.battery.level : null) ?? "unknown");
  const volts = useComputed(() => batteryWords(state.value?.battery ?? null).volts);
  const full = useComputed(() => batteryWords(state.value?.battery ?? null).full);
  const bad = level.value === "low" || level.value === "empty";
  return (
    <p class={bad ? "status-item broken" : "status-item"} data-testid="battery">
      <BatteryMark level={level.value} />
      <span aria-hidden="true">{volts}</span>
      <span class="unseen">{full}</span>
      {bad && (
        <span class="level" aria-hidden="true">
          {level.value}
        </span>
      )}
    </p>
  );
}

function Driving(): JSX.Element {
  const remote = useRemote();
  const { state, welcome, inControl, mayCommand } = remote;
  const who = useComputed(() => driverWords(state.value?.driver ?? null, welcome.value?.you ?? "").word);
  const full = useComputed(() => driverWords(state.value?.driver ?? null, welcome.value?.you ?? "").full);
  const taken = useComputed(() => state.value?.driver != null);
  const may = mayCommand.value;
  return (
    <>
      <p class="status-item who" data-testid="driver">
        <HandMark mine={inControl.value} taken={taken.value} />
        <span aria-hidden="true">{who}</span>
        <span class="unseen">{full}</span>
      </p>
      {inControl.value ? (
        <button class="control" type="button" disabled={!may.able} onClick={() => remote.send({ type: "release" })}>
          Give back<span class="unseen"> control</span>
        </button>
      ) : (
        <button
          class="control primary"
          type="button"
          disabled={may.able || !may.offerTake}
          onClick={() => remote.send({ type: "take" })}
        >
          Take<span class="unseen"> control</span>
        </button>
      )}
    </>
  );
}
