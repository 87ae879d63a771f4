import { useSignalEffect } from "@preact/signals";
import type { JSX } from "preact";
import { when } from "../words.ts";
import { useMaker } from "./context.ts";
import { readText } from "./document.ts";

/** What was saved before, and drafts of others: each is taken over as one step that Undo takes back. */
export function History(): JSX.Element {
  const maker = useMaker();
  useSignalEffect(() => {
    const past = maker.past.value;
    if (!past || past.name !== maker.name.peek()) return;
    maker.past.value = null;
    maker.do({ do: "become", doc: readText(past.text), why: "earlier" });
  });
  const versions = maker.versions.value;
  return (
    <section class="make-past" aria-label="Earlier versions">
      {versions === null && <p class="empty">Asking the hub.</p>}
      {versions?.length === 0 && maker.drafts.value.length === 0 && <p class="empty">Nothing was saved here before.</p>}
      <ul class="list">
        {maker.drafts.value.map((draft) => (
          <li key={draft.hand} class="make-line">
            <span>
              Draft of {draft.by || "another device"}, {when(draft.made)}
            </span>
            <button type="button" onClick={() => maker.do({ do: "become", doc: readText(draft.text), why: "draft" })}>
              Take over
            </button>
          </li>
        ))}
        {versions?.map(({ id, replaced }) => (
          <li key={id} class="make-line">
            <span>Until {when(replaced)}</span>
            <button type="button" onClick={() => maker.lookBack(id)}>
              Bring back
            </button>
          </li>
        ))}
      </ul>
    </section>
  );
}
