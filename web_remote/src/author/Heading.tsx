import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useRemote } from "../ui/context.ts";
import { capital, lasts, plainName } from "../words.ts";
import { useMaker } from "./context.ts";
import { History } from "./Versions.tsx";

/** What is being made, whether it is kept, and the way back. */
export function Heading(): JSX.Element {
  const remote = useRemote();
  const maker = useMaker();
  const looksBack = useSignal(false);
  const saved = !maker.dirty.value;
  const reached = remote.connection.value.phase === "live";
  return (
    <header class="make-head">
      <div class="make-title">
        <h2>{capital(plainName(maker.name.value))}</h2>
        <p class="make-state" data-testid="kept" role="status">
          {saved ? "Saved" : keptWords(maker.safe.value, reached)}
          {maker.lengthMs.value > 0 && ` · ${lasts(maker.lengthMs.value / 1000)}`}
          {maker.others.value.length > 0 && ` · ${maker.others.value.join(", ")} also ${maker.others.value.length > 1 ? "have" : "has"} it open`}
        </p>
      </div>
      <div class="make-tools">
        <button type="button" disabled={!maker.canUndo.value} onClick={() => maker.undo()}>
          Undo
        </button>
        <button type="button" disabled={!maker.canRedo.value} onClick={() => maker.redo()}>
          Redo
        </button>
        <button type="button" class="primary" disabled={saved || maker.saving.value || !reached} onClick={() => maker.save()}>
          Save
        </button>
        <button
          type="button"
          aria-expanded={looksBack.value}
          onClick={() => {
            looksBack.value = !looksBack.value;
            if (looksBack.value) maker.listVersions();
          }}
        >
          Earlier
        </button>
        <button
          type="button"
          onClick={() => {
            maker.close();
            remote.makes.value = null;
          }}
        >
          Close
        </button>
      </div>
      {looksBack.value && <History />}
    </header>
  );
}

function keptWords(safe: boolean, reached: boolean): string {
  if (!reached) return "The hub is away; the edits are kept here";
  return safe ? "Draft kept, not saved" : "Not saved yet";
}
