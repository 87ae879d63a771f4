import type { JSX } from "preact";
import { channels, USUAL } from "./document.ts";
import { useMaker } from "./context.ts";
import { placedKeys } from "./edits.ts";

/** The keyframes in time, as a plain list: when each is, what it keys, and how it is approached. */
export function Strip(): JSX.Element {
  const maker = useMaker();
  const sheet = maker.sheet.value;
  const { player } = maker;
  if (!sheet) return <></>;
  return (
    <section class="make-strip" aria-label="Keys in time">
      <div class="make-tools">
        <button type="button" onClick={() => player.toggle()}>
          {player.playing.value ? "Hold" : "Play"}
        </button>
        <input
          type="range"
          aria-label="Time"
          min={0}
          max={Math.round(maker.lengthMs.value)}
          value={Math.round(player.at.value)}
          onInput={(event) => player.seek(event.currentTarget.valueAsNumber)}
        />
        <span>{(player.at.value / 1000).toFixed(2)} s</span>
      </div>
      <ul class="list">
        {placedKeys(sheet).map(({ id, ms, key }) => (
          <li key={id} class="make-line" aria-current={maker.selection.value.some((mark) => mark.key === id)}>
            <input
              type="number"
              aria-label="At, in ms"
              value={Math.round(ms)}
              onChange={(event) => maker.do({ do: "move", marks: [{ key: id }], by_ms: event.currentTarget.valueAsNumber - ms })}
            />
            <button
              type="button"
              onClick={() => {
                maker.selection.value = [{ key: id }];
                player.seek(ms);
              }}
            >
              {[...channels(key).keys()].length} values, {key.approach ?? USUAL}
            </button>
            <button type="button" aria-label={`Remove the key at ${Math.round(ms)} ms`} onClick={() => maker.do({ do: "remove", marks: [{ key: id }] })}>
              Remove
            </button>
          </li>
        ))}
      </ul>
    </section>
  );
}
