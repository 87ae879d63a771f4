import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useRemote } from "../ui/context.ts";
import { Gate } from "../ui/Gate.tsx";
import { plainName } from "../words.ts";
import { useMaker } from "./context.ts";
import { readText } from "./document.ts";

/** On the robot, from outside, and to it. */
export function Bring(): JSX.Element {
  return (
    <>
      <OnTheRobot />
      <FromOutside />
    </>
  );
}

const SHARES = [0.25, 0.5, 1] as const;

/** Slowly first: only who holds control may, and Stop is where it always is. */
function OnTheRobot(): JSX.Element {
  const remote = useRemote();
  const maker = useMaker();
  const share = useSignal<number>(SHARES[0]);
  const may = remote.mayPlay.value;
  return (
    <section class="make-robot" aria-label="On the robot">
      <h2>On the robot</h2>
      <Gate may={may} />
      <div class="make-tools">
        <label class="field">
          Speed
          <select
            value={share.value}
            onChange={(event) => {
              share.value = Number(event.currentTarget.value);
            }}
          >
            {SHARES.map((each) => (
              <option key={each} value={each}>
                {each === 1 ? "full" : `${each * 100} %`}
              </option>
            ))}
          </select>
        </label>
        <button
          type="button"
          disabled={!may.able || !maker.judged.value?.fits || maker.stale.value}
          onClick={() => maker.rehearse(share.value)}
        >
          Play this on the robot
        </button>
      </div>
    </section>
  );
}

/** Recordings, tables of angles and documents become this move; Undo takes that back. */
function FromOutside(): JSX.Element {
  const remote = useRemote();
  const maker = useMaker();
  const recording = useSignal("");
  const error = useSignal(1);
  const words = useSignal("");
  const take = (made: { text: string; words: string } | null): void => {
    if (!made) return;
    words.value = made.words;
    maker.do({ do: "become", doc: readText(made.text), why: "brought in" });
  };
  const transcribe = async (): Promise<void> => {
    const name = maker.name.value;
    take(await maker.make({ type: "transcribe", recording: recording.value, name, error_deg: error.value }));
  };
  const bring = async (file: File | undefined): Promise<void> => {
    if (!file) return;
    const text = await file.text();
    const name = maker.name.value;
    if (/\.json$/i.test(file.name)) take(await maker.make({ type: "read_document", name, text }));
    else take(await maker.make({ type: "read_table", name, text, error_deg: error.value }));
  };
  const recordings = remote.recordings.value ?? [];
  return (
    <section class="make-outside" aria-label="From elsewhere">
      <h2>From elsewhere</h2>
      <label class="field">
        Within degrees
        <input
          type="number"
          min={0.05}
          max={20}
          step={0.05}
          value={error.value}
          onChange={(event) => {
            error.value = event.currentTarget.valueAsNumber || 1;
          }}
        />
      </label>
      {recordings.length > 0 && (
        <div class="make-tools">
          <select
            aria-label="Recording"
            value={recording.value}
            onChange={(event) => {
              recording.value = event.currentTarget.value;
            }}
          >
            <option value="">a recording</option>
            {recordings.map(({ name }) => (
              <option key={name} value={name}>
                {plainName(name)}
              </option>
            ))}
          </select>
          <button type="button" disabled={!recording.value} onClick={() => void transcribe()}>
            Make keys of it
          </button>
        </div>
      )}
      <label class="field">
        A document or a table of angles
        <input type="file" accept=".json,.csv,.txt" onChange={(event) => void bring(event.currentTarget.files?.[0])} />
      </label>
      {words.value && <p class="row-reason">{words.value}</p>}
    </section>
  );
}
