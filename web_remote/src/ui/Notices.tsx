import { useComputed } from "@preact/signals";
import type { JSX } from "preact";
import { outage, sentence } from "../words.ts";
import { useRemote } from "./context.ts";

const WORD = { info: "Note", warning: "Mind", error: "Trouble" } as const;

/** Over the stage: what people should know. A broken link stays until it is mended. */
export function Notices(): JSX.Element {
  const remote = useRemote();
  const { connection, state, elsewhere } = remote;
  // What the stage direction says already is not said beside it.
  const notices = useComputed(() => {
    const reason = elsewhere.value ? "" : sentence(state.value?.reason ?? "");
    return remote.notices.value.filter(({ text }) => sentence(text) !== reason);
  });
  const title = useComputed(() => outage(connection.value, state.value)?.title ?? "");
  const text = useComputed(() => outage(connection.value, state.value)?.text ?? "");
  return (
    <div class="notices">
      <div role="alert" data-testid="outage">
        {title.value && (
          <p class="notice outage">
            <span>
              <strong>{title}.</strong> {text}
            </span>
          </p>
        )}
      </div>
      <div role="log" aria-live="polite" aria-label="Notices">
        {notices.value.map(({ id, level, text: said }) => (
          <p key={id} class={`notice ${level}`}>
            <span>
              <strong>{WORD[level]}:</strong> {sentence(said)}
            </span>
            <button type="button" class="quiet" aria-label="Put away" onClick={() => remote.dismiss(id)}>
              <svg class="mark" viewBox="0 0 20 20" aria-hidden="true">
                <path d="M5 5 15 15M15 5 5 15" />
              </svg>
            </button>
          </p>
        ))}
      </div>
    </div>
  );
}
