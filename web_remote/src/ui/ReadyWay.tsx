import type { JSX } from "preact";
import { useRemote } from "./context.ts";

/** The way to what comes before and after a show, on the Robot card. */
export function ReadyWay(): JSX.Element {
  const remote = useRemote();
  const now = remote.checked.value;
  return (
    <section aria-label="Before and after a show">
      <h2>Before and after a show</h2>
      <p class="small">
        {now && now.go !== null
          ? `Last looked at: ${now.go ? "go" : "no-go"}.`
          : "Is all as it should be? And if something went wrong: what happened?"}
      </p>
      <button
        type="button"
        onClick={() => {
          remote.readies.value = true;
        }}
      >
        Get ready
      </button>
    </section>
  );
}
