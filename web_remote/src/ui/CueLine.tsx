import { useComputed } from "@preact/signals";
import type { JSX } from "preact";
import { clockTime, limitWords, modeWords, plainName, sentence } from "../words.ts";
import { useRemote } from "./context.ts";
import { RecordMark } from "./Marks.tsx";

/** What the robot is about, as a stage direction; how far a move has come; and Go on when one waits. */
export function CueLine(): JSX.Element {
  const remote = useRemote();
  const { connection, state, mayCommand } = remote;
  const words = useComputed(() => {
    if (!state.value) return "Waiting for the robot.";
    const now = modeWords(state.value);
    return connection.value.phase === "live" ? now : `When last seen: ${now.charAt(0).toLowerCase()}${now.slice(1)}`;
  });
  const reason = useComputed(() => sentence(state.value?.reason ?? ""));
  const limited = useComputed(() => limitWords(remote.limit.value));
  const recording = useComputed(() => {
    const seconds = state.value?.recording_s ?? null;
    return seconds === null ? null : clockTime(seconds);
  });
  const waits = useComputed(() => state.value?.playing?.waits_for_go ?? false);
  return (
    <section class="cue" aria-label="Now">
      <div class="cue-words">
        <p class="direction" role="status" data-testid="mode">
          {words}
          {reason.value && <span class="reason"> {reason}</span>}
          {limited.value && (
            <span class="reason" data-testid="limit">
              {" "}
              {limited}
            </span>
          )}
        </p>
        {recording.value !== null && (
          <p class="chip" aria-label={`Recording, ${recording.value}`}>
            <RecordMark on={false} />
            {recording}
          </p>
        )}
        {!waits.value && <Played />}
        {waits.value && (
          <button
            class="primary go"
            type="button"
            disabled={!mayCommand.value.able}
            onClick={() => remote.send({ type: "go" })}
          >
            Go on
          </button>
        )}
      </div>
    </section>
  );
}

function Played(): JSX.Element | null {
  const { state } = useRemote();
  const playing = state.value?.playing;
  if (!playing) return null;
  const { name, at_s, duration_s } = playing;
  return (
    <p class="played">
      {clockTime(at_s)} of {clockTime(Math.ceil(duration_s))}
      <progress aria-label={`Progress of ${plainName(name)}`} max={Math.max(duration_s, 0.001)} value={at_s} />
    </p>
  );
}
