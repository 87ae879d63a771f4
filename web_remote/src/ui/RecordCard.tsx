import { useComputed, useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { DOCUMENT_NAME } from "../messages.gen.ts";
import { capital, clockTime, lasts, plainName, when } from "../words.ts";
import { useRemote } from "./context.ts";
import { Gate } from "./Gate.tsx";
import { PlayMark, RecordMark } from "./Marks.tsx";

/** `rehearsal 0327-1432`: a name to begin with, in characters that every hub takes. */
function firstName(date: Date): string {
  const two = (n: number): string => String(n).padStart(2, "0");
  return `rehearsal ${two(date.getMonth() + 1)}${two(date.getDate())}-${two(date.getHours())}${two(date.getMinutes())}`;
}

export function RecordCard(): JSX.Element {
  const remote = useRemote();
  const { mayCommand } = remote;
  const runs = useComputed(() => (remote.state.value?.recording_s ?? null) !== null);
  const may = mayCommand.value;
  return (
    <div class="record">
      <Gate may={may} />
      {runs.value ? (
        <Running />
      ) : (
        <button
          type="button"
          class="big"
          disabled={!may.able}
          onClick={() => remote.send({ type: "record_start" })}
        >
          <RecordMark on={false} />
          Start recording
        </button>
      )}
      <Kept />
    </div>
  );
}

function Running(): JSX.Element {
  const remote = useRemote();
  const name = useSignal(firstName(new Date()));
  const time = useComputed(() => clockTime(remote.state.value?.recording_s ?? 0));
  const good = DOCUMENT_NAME.test(name.value);
  return (
    <form
      class="running"
      onSubmit={(event) => {
        event.preventDefault();
        if (good) remote.send({ type: "record_stop", name: name.value });
      }}
    >
      <p class="running-time">
        <RecordMark on={false} />
        Recording <b>{time}</b>
      </p>
      <label class="field">
        Keep it as
        <input
          type="text"
          value={name.value}
          maxLength={64}
          autocomplete="off"
          autocapitalize="off"
          spellcheck={false}
          aria-invalid={!good}
          aria-describedby={good ? undefined : "name-how"}
          onInput={(event) => {
            name.value = event.currentTarget.value;
          }}
        />
      </label>
      {!good && (
        <p class="wrong" id="name-how" role="alert">
          Letters, digits, spaces, - and _, beginning with a letter or digit.
        </p>
      )}
      <button type="submit" class="big" disabled={!good || !remote.mayCommand.value.able}>
        <RecordMark on />
        Stop and keep
      </button>
    </form>
  );
}

function Kept(): JSX.Element {
  const remote = useRemote();
  const all = remote.recordings.value;
  if (!all || all.length === 0) {
    return <p class="empty">What you drive and play while recording is kept here, to be replayed exactly.</p>;
  }
  return (
    <section aria-label="Recordings">
      <h2>Recordings</h2>
      <ul class="list">
        {all.map(({ name, duration_s, made }) => (
          <li class="row" key={name} aria-label={capital(plainName(name))}>
            <button
              type="button"
              class="round"
              aria-label={`Replay ${plainName(name)}`}
              disabled={!remote.mayPlay.value.able}
              onClick={() => remote.send({ type: "replay", name })}
            >
              <PlayMark />
            </button>
            <div class="row-words">
              <p class="row-name">{capital(plainName(name))}</p>
              <p class="verdict">
                {when(made)}
                <span class="lasts">{lasts(duration_s)}</span>
              </p>
            </div>
          </li>
        ))}
      </ul>
    </section>
  );
}
