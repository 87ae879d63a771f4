import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useEffect } from "preact/hooks";
import type { FromBrowser } from "../../messages.gen.ts";
import { useRemote } from "../../ui/context.ts";
import { Slider } from "../../ui/Slider.tsx";
import { lasts, plainName, sentence } from "../../words.ts";
import { useMaker } from "../context.ts";
import { readText } from "../document.ts";
import { ColumnMap } from "./ColumnMap.tsx";
import { lookAt, type Table, tableOfFrames } from "./table.ts";
import { Within } from "./Within.tsx";

type Making = Extract<FromBrowser, { type: "transcribe" | "read_table" | "read_document" }>;

/** Recordings, tables of angles, frames and documents become this move; Undo takes that back. */
export function FromOutside(): JSX.Element {
  const maker = useMaker();
  const words = useSignal("");
  const wrong = useSignal("");
  const table = useSignal<Table | null>(null);
  const error = useSignal(1);
  const over = useSignal(false);

  const take = async (message: Making): Promise<void> => {
    words.value = wrong.value = "";
    const made = await maker.exchange.make(message);
    if (made && maker.do({ do: "become", doc: readText(made.text), why: "brought in" })) {
      words.value = made.words || "It is here. Undo brings back what was before.";
      table.value = null;
    }
  };
  const bring = async (file: File | undefined): Promise<void> => {
    if (!file) return;
    words.value = wrong.value = maker.exchange.refusal.value = "";
    table.value = null;
    try {
      if (/\.json$/i.test(file.name)) await take({ type: "read_document", name: maker.name.value, text: await file.text() });
      else if (/\.(csv|tsv|txt)$/i.test(file.name)) table.value = lookAt(file.name, await file.text());
      else if (/\.(msgpack|mpk)$/i.test(file.name)) table.value = tableOfFrames(file.name, new Uint8Array(await file.arrayBuffer()));
      else wrong.value = `${file.name} is neither a document (.json), a table (.csv) nor frames (.msgpack).`;
    } catch (trouble) {
      wrong.value = trouble instanceof Error ? trouble.message : "That could not be read.";
    }
  };
  useEffect(() => {
    // A file may be dropped anywhere on the page: a browser would open it in place of the remote.
    const off = new AbortController();
    const listen = (type: "dragover" | "dragleave" | "drop", heard: (event: DragEvent) => void): void =>
      document.addEventListener(type, heard, { signal: off.signal });
    listen("dragover", (event) => {
      if (!event.dataTransfer?.types.includes("Files")) return;
      event.preventDefault();
      over.value = true;
    });
    listen("dragleave", (event) => {
      if (event.relatedTarget === null) over.value = false;
    });
    listen("drop", (event) => {
      over.value = false;
      if (!event.dataTransfer?.files.length || event.defaultPrevented) return;
      event.preventDefault();
      void bring(event.dataTransfer.files[0]);
    });
    return () => off.abort();
  }, []);
  const trouble = wrong.value || maker.exchange.refusal.value;
  return (
    <section class="make-outside" aria-label="From elsewhere">
      <h2>From elsewhere</h2>
      <label class={over.value ? "bring-here over" : "bring-here"}>
        <span>
          <b>Drop a file here, or choose one.</b> A move (.json), a table of joint angles (.csv) or frames (.msgpack).
        </span>
        <input
          type="file"
          aria-label="A file from elsewhere"
          accept=".json,.csv,.tsv,.txt,.msgpack,.mpk"
          onChange={(event) => {
            void bring(event.currentTarget.files?.[0]);
            event.currentTarget.value = "";
          }}
        />
      </label>
      {trouble && (
        <p class="wrong" role="alert">
          {sentence(trouble)} Nothing was changed.
        </p>
      )}
      {words.value && (
        <p class="row-reason" role="status">
          {sentence(words.value)}
        </p>
      )}
      {table.value && <ColumnMap key={table.value.name} table={table.value} error={error} take={(message) => void take(message)} />}
      <Recordings take={(message) => void take(message)} error={error} />
    </section>
  );
}

interface RecordingsProps {
  take: (message: Making) => void;
  error: { value: number };
}

/** What was driven and recorded, trimmed, as keys within an error. */
function Recordings({ take, error }: RecordingsProps): JSX.Element {
  const remote = useRemote();
  const maker = useMaker();
  const name = useSignal("");
  const [from, to] = [useSignal(0), useSignal(0)];
  const all = remote.recordings.value ?? [];
  const chosen = all.find((each) => each.name === name.value);
  const length = chosen ? Math.floor(chosen.duration_s * 10) / 10 : 0;
  useEffect(() => {
    [from.value, to.value] = [0, length];
  }, [length, from, to]);
  if (all.length === 0) return <p class="small">What is recorded on the Record card while driving can be made into keys here.</p>;
  return (
    <div class="bring-recording">
      <label class="field">
        What was recorded while driving
        <select
          value={name.value}
          onChange={(event) => {
            name.value = event.currentTarget.value;
          }}
        >
          <option value="">Which one</option>
          {all.map((each) => (
            <option key={each.name} value={each.name}>
              {plainName(each.name)}, {lasts(each.duration_s)}
            </option>
          ))}
        </select>
      </label>
      {chosen && (
        <>
          <Slider label="From" min={0} max={length} step={0.1} value={from.value} shown={`${from.value.toFixed(1)} s`} onValue={(s) => (from.value = Math.min(s, to.value - 0.1))} />
          <Slider label="To" min={0} max={length} step={0.1} value={to.value} shown={`${to.value.toFixed(1)} s`} onValue={(s) => (to.value = Math.max(s, from.value + 0.1))} />
          <Within error={error} />
          <button
            type="button"
            class="primary"
            onClick={() => take({ type: "transcribe", recording: chosen.name, name: maker.name.value, from_s: Math.max(0, from.value), to_s: to.value, error_deg: error.value })}
          >
            Make keys of it
          </button>
        </>
      )}
    </div>
  );
}
