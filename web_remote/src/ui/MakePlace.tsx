import { useSignal } from "@preact/signals";
import type { ComponentType, JSX } from "preact";
import { useEffect } from "preact/hooks";
import { useRemote } from "./context.ts";

/** The place where moves are made; it comes when it is first opened. */
export function MakePlace({ name }: { name: string }): JSX.Element {
  const remote = useRemote();
  const part = usePart(async () => (await import("../author/Make.tsx")).Make);
  return part.shown ? (
    <part.shown name={name} />
  ) : (
    <Coming
      missing={part.missing}
      back={() => {
        remote.makes.value = null;
      }}
    />
  );
}

/** The place for bring-up, likewise. */
export function BringPlace(): JSX.Element {
  const remote = useRemote();
  const part = usePart(async () => (await import("../bringup/Bringup.tsx")).Bringup);
  return part.shown ? (
    <part.shown />
  ) : (
    <Coming
      missing={part.missing}
      back={() => {
        remote.brings.value = false;
      }}
    />
  );
}

/** The place for what comes before and after a show, likewise. */
export function ReadyPlace(): JSX.Element {
  const remote = useRemote();
  const part = usePart(async () => (await import("../show/Ready.tsx")).Ready);
  return part.shown ? (
    <part.shown />
  ) : (
    <Coming
      missing={part.missing}
      back={() => {
        remote.readies.value = false;
      }}
    />
  );
}

/** A part of the program that is loaded when it is first needed. */
function usePart<P>(load: () => Promise<ComponentType<P>>): { shown: ComponentType<P> | null; missing: boolean } {
  const shown = useSignal<ComponentType<P> | null>(null);
  const missing = useSignal(false);
  useEffect(() => {
    void load().then(
      (part) => {
        shown.value = part;
      },
      () => {
        missing.value = true;
      },
    );
    // What is loaded never changes while a place is open.
  }, [shown, missing]);
  return { shown: shown.value, missing: missing.value };
}

function Coming({ missing, back }: { missing: boolean; back: () => void }): JSX.Element {
  return (
    <p class="empty">
      {missing ? "This part could not be loaded. " : "One moment."}
      {missing && (
        <button
          type="button"
          onClick={back}
        >
          Back
        </button>
      )}
    </p>
  );
}
