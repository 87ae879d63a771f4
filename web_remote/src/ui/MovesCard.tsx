import { useComputed, useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { DOCUMENT_NAME, type MoveInfo } from "../messages.gen.ts";
import { capital, lasts, plainName, sentence, verdictWords } from "../words.ts";
import { useRemote } from "./context.ts";
import { Gate } from "./Gate.tsx";
import { PlayMark, VerdictMark } from "./Marks.tsx";

/** From this many on, the list can be searched. */
const MANY = 10;

export function MovesCard(): JSX.Element {
  const { moves, mayPlay } = useRemote();
  const search = useSignal("");
  const found = useComputed(() => {
    const sought = search.value.trim().toLowerCase();
    const items = moves.value ?? [];
    return sought ? items.filter(({ name }) => plainName(name).toLowerCase().includes(sought)) : items;
  });
  const all = moves.value;
  if (!all) return <p class="empty">The list of moves is on its way.</p>;
  const routines = found.value.filter(({ kind }) => kind === "routine");
  const sequences = found.value.filter(({ kind }) => kind === "sequence");
  return (
    <div class="moves">
      <Gate may={mayPlay.value} />
      <NewMove names={all.map(({ name }) => name)} />
      {all.length >= MANY && (
        <input
          class="search"
          type="search"
          aria-label="Search the moves"
          placeholder={`Search ${all.length} moves`}
          value={search.value}
          onInput={(event) => {
            search.value = event.currentTarget.value;
          }}
        />
      )}
      {all.length === 0 && <p class="empty">There are no moves here yet.</p>}
      {all.length > 0 && found.value.length === 0 && <p class="empty">None is called that.</p>}
      <Section title="Routines" items={routines} />
      <Section title="Moves" items={sequences} />
    </div>
  );
}

/** Making a move begins with its name. */
function NewMove({ names }: { names: readonly string[] }): JSX.Element | null {
  const remote = useRemote();
  const name = useSignal<string | null>(null);
  if (remote.welcome.value?.role !== "operator") return null;
  if (name.value === null) {
    return (
      <button
        type="button"
        onClick={() => {
          name.value = "";
        }}
      >
        New move
      </button>
    );
  }
  const typed = name.value.trim();
  const taken = names.some((other) => other.toLowerCase() === typed.toLowerCase());
  const good = DOCUMENT_NAME.test(typed) && !taken;
  return (
    <form
      class="new-move"
      onSubmit={(event) => {
        event.preventDefault();
        if (good) remote.makes.value = typed;
      }}
    >
      <input
        type="text"
        aria-label="What to call the new move"
        placeholder="What to call it"
        value={name.value}
        maxLength={64}
        autocomplete="off"
        autocapitalize="off"
        spellcheck={false}
        ref={(input) => input?.focus()}
        onInput={(event) => {
          name.value = event.currentTarget.value;
        }}
      />
      <button type="submit" class="primary" disabled={!good}>
        {taken ? "There is one" : "Make it"}
      </button>
    </form>
  );
}

function Section({ title, items }: { title: string; items: readonly MoveInfo[] }): JSX.Element | null {
  if (items.length === 0) return null;
  return (
    <section aria-label={title}>
      <h2>{title}</h2>
      <ul class="list">
        {items.map((item) => (
          <Move key={item.name} item={item} />
        ))}
      </ul>
    </section>
  );
}

function Move({ item }: { item: MoveInfo }): JSX.Element {
  const remote = useRemote();
  const { name, duration_s, verdict, reason } = item;
  const { word, mark } = verdictWords(verdict);
  const now = useComputed(() => {
    const playing = remote.state.value?.playing;
    return playing?.name === name ? Math.min(1, playing.at_s / Math.max(playing.duration_s, 0.001)) : null;
  });
  const playable = verdict === "fits" || verdict === "warns";
  return (
    <li
      class={now.value === null ? "row" : "row now"}
      aria-current={now.value === null ? undefined : "true"}
      aria-label={capital(plainName(name))}
    >
      <button
        type="button"
        class="round"
        aria-label={`Play ${plainName(name)}`}
        disabled={!playable || !remote.mayPlay.value.able}
        onClick={() => remote.send({ type: "play", name })}
      >
        <PlayMark />
      </button>
      <div class="row-words">
        <p class="row-name">{capital(plainName(name))}</p>
        <p class={`verdict ${verdict}`}>
          <VerdictMark mark={mark} />
          {word}
          {duration_s !== null && <span class="lasts">{lasts(duration_s)}</span>}
        </p>
        {reason && verdict !== "fits" && <p class="row-reason">{sentence(reason)}</p>}
      </div>
      {item.kind === "sequence" && remote.welcome.value?.role === "operator" && (
        <button
          type="button"
          aria-label={`Change ${plainName(name)}`}
          onClick={() => {
            remote.makes.value = name;
          }}
        >
          Change
        </button>
      )}
      {now.value !== null && <span class="row-progress" style={{ "--share": now.value }} />}
    </li>
  );
}
