import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import type { CheckLine, ShowChecked } from "../messages.gen.ts";
import { useRemote } from "../ui/context.ts";
import { Gate } from "../ui/Gate.tsx";
import { VerdictMark } from "../ui/Marks.tsx";
import { type Mark, plainName, sentence } from "../words.ts";

const SHAPES: Record<CheckLine["state"], { mark: Mark; word: string; tone: string }> = {
  good: { mark: "tick", word: "Good", tone: "fits" },
  care: { mark: "wave", word: "With care", tone: "warns" },
  bad: { mark: "cross", word: "Not good", tone: "fails" },
  open: { mark: "dots", word: "Open", tone: "" },
};

/** Everything that has to be right, in the order in which one mends it; and what follows: go or no-go. */
export function Check(): JSX.Element {
  const remote = useRemote();
  const routine = useSignal("");
  const now = remote.checked.value;
  const may = remote.connection.value.phase === "live" && remote.welcome.value?.role === "operator";
  const moves = remote.moves.value ?? [];
  return (
    <>
      <label class="field">
        What will be played
        <select
          value={routine.value}
          onChange={(event) => {
            routine.value = event.currentTarget.value;
          }}
        >
          <option value="">nothing in particular</option>
          {moves.map(({ name }) => (
            <option key={name} value={name}>
              {plainName(name)}
            </option>
          ))}
        </select>
      </label>
      <button
        type="button"
        class="primary"
        disabled={!may || now?.running === true || now?.asks === "sweeping"}
        onClick={() => remote.send({ type: "check_show", routine: routine.value })}
      >
        {now && now.lines.length > 0 ? "Look at it all anew" : "Look at it all"}
      </button>
      {now && now.lines.length > 0 && (
        <>
          <Verdict now={now} />
          <Sweep now={now} />
          <ul class="list ready-list" aria-label="What was looked at">
            {now.lines.map((line) => (
              <Line key={line.name} line={line} />
            ))}
          </ul>
        </>
      )}
    </>
  );
}

function Verdict({ now }: { now: ShowChecked }): JSX.Element {
  const word = now.go === null ? "Not yet" : now.go ? "Go" : "No-go";
  const tone = now.go === null ? "" : now.go ? "fits" : "fails";
  return (
    <p class={`ready-big verdict ${tone}`} role="status" data-testid="go">
      <VerdictMark mark={now.go === null ? "dots" : now.go ? "tick" : "cross"} />
      <span>
        <strong>{word}.</strong> {sentence(now.reason)}
      </span>
    </p>
  );
}

function Line({ line }: { line: CheckLine }): JSX.Element {
  const { mark, word, tone } = SHAPES[line.state];
  return (
    <li class="row">
      <div class="row-words">
        <p class="row-name">{line.name}</p>
        <p class="row-reason">{sentence(line.words)}</p>
      </div>
      <p class={`verdict ${tone}`}>
        <VerdictMark mark={mark} />
        <span>{word}</span>
      </p>
    </li>
  );
}

/** Asks before anything moves, and then what was seen. */
function Sweep({ now }: { now: ShowChecked }): JSX.Element | null {
  const remote = useRemote();
  const asks = useSignal(false);
  const may = remote.mayPlay.value;
  if (now.asks === "") return null;
  if (now.asks === "sweeping") {
    return (
      <p role="status">Every joint moves now, one leg after another. Watch each, and listen. Stop is where it always is.</p>
    );
  }
  if (now.asks === "seen") return <Seen />;
  if (!asks.value) {
    return (
      <section aria-label="Every joint">
        <Gate may={may} />
        <button
          type="button"
          disabled={!may.able}
          onClick={() => {
            asks.value = true;
          }}
        >
          Move every joint…
        </button>
      </section>
    );
  }
  return (
    <div class="asks" role="alertdialog" aria-labelledby="sweep-asks" aria-describedby="sweep-why">
      <h3 id="sweep-asks">Move every joint once?</h3>
      <p id="sweep-why">
        It lifts one leg after another, for about half a minute. Fingers, hair and children away; room around it, or a stand under
        it; your hand near the supply’s switch, for Stop here is software.
      </p>
      <div class="choices">
        <button
          type="button"
          onClick={() => {
            asks.value = false;
          }}
        >
          Not now
        </button>
        <button
          type="button"
          class="grave"
          disabled={!may.able}
          onClick={() => {
            asks.value = false;
            remote.send({ type: "sweep_joints" });
          }}
        >
          Yes, move them
        </button>
      </div>
    </div>
  );
}

function Seen(): JSX.Element {
  const remote = useRemote();
  const stuck = useSignal<readonly string[]>([]);
  const names = useSignal(false);
  const may = remote.mayCommand.value;
  const joints = remote.robot.value?.joints ?? [];
  return (
    <section aria-label="What was seen">
      <h2>Did every joint move, evenly and without a grating sound?</h2>
      <Gate may={may} />
      <div class="choices">
        <button type="button" class="primary" disabled={!may.able} onClick={() => remote.send({ type: "sweep_seen", stuck: [] })}>
          All moved
        </button>
        <button
          type="button"
          aria-expanded={names.value}
          onClick={() => {
            names.value = !names.value;
          }}
        >
          Not all…
        </button>
      </div>
      {names.value && (
        <fieldset class="ready-joints">
          <legend>Which did not?</legend>
          {joints.map((joint) => (
            <label key={joint}>
              <input
                type="checkbox"
                checked={stuck.value.includes(joint)}
                onChange={(event) => {
                  const others = stuck.value.filter((name) => name !== joint);
                  stuck.value = event.currentTarget.checked ? [...others, joint] : others;
                }}
              />
              {plainName(joint.replace(".", " "))}
            </label>
          ))}
          <button
            type="button"
            class="grave"
            disabled={!may.able || stuck.value.length === 0}
            onClick={() => remote.send({ type: "sweep_seen", stuck: [...stuck.value] })}
          >
            These did not move
          </button>
        </fieldset>
      )}
    </section>
  );
}
