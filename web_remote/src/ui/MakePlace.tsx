import { useSignal } from "@preact/signals";
import type { ComponentType, JSX } from "preact";
import { useEffect } from "preact/hooks";
import { useRemote } from "./context.ts";

/** The place where moves are made; it comes when it is first opened. */
export function MakePlace({ name }: { name: string }): JSX.Element {
  const remote = useRemote();
  const made = useSignal<ComponentType<{ name: string }> | null>(null);
  const missing = useSignal(false);
  useEffect(() => {
    void import("../author/Make.tsx").then(
      ({ Make }) => {
        made.value = Make;
      },
      () => {
        missing.value = true;
      },
    );
  }, [made, missing]);
  const Make = made.value;
  if (Make) return <Make name={name} />;
  return (
    <p class="empty">
      {missing.value ? "This part could not be loaded. " : "One moment."}
      {missing.value && (
        <button
          type="button"
          onClick={() => {
            remote.makes.value = null;
          }}
        >
          Back
        </button>
      )}
    </p>
  );
}
