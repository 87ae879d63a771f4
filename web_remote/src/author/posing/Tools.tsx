import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { DOCUMENT_NAME } from "../../messages.gen.ts";
import { plainName } from "../../words.ts";
import { useMaker } from "../context.ts";
import { oppositeOf } from "../mirror.ts";
import { usePoser } from "./context.ts";
import { partWords } from "./words.ts";

/** What is done to the part that is held, or to the whole robot, at this moment. */
export function Tools(): JSX.Element {
  const maker = useMaker();
  const poser = usePoser();
  const part = poser.part.value;
  const robot = maker.house.value?.robot;
  const leg = part.startsWith("leg:") ? part.slice(4) : null;
  const opposite = robot && leg ? oppositeOf(robot, leg) : null;
  return (
    <>
      <div class="pose-tools" role="group" aria-label={`The ${partWords(part)}`}>
        <button type="button" onClick={() => poser.rest(part)}>
          Back to rest
        </button>
        <button type="button" onClick={() => poser.pin(part)}>
          Key it as it is
        </button>
        {leg && (
          <>
            <button type="button" onClick={() => poser.ground()}>
              Foot to the ground
            </button>
            {opposite && (
              <button type="button" onClick={() => poser.copyLeg(leg, "opposite")}>
                Same for the leg opposite
              </button>
            )}
            <button type="button" onClick={() => poser.copyLeg(leg, "all")}>
              Same for all legs
            </button>
          </>
        )}
      </div>
      <details class="pose-whole">
        <summary>The whole robot</summary>
        <div class="pose-tools">
          <button type="button" onClick={() => poser.mirror()}>
            Swap left and right
          </button>
          {!leg && (
            <button type="button" onClick={() => poser.ground()}>
              All feet to the ground
            </button>
          )}
          <button type="button" onClick={() => poser.pin("all")}>
            Key all as it is
          </button>
          <button type="button" onClick={() => poser.rest("left")}>
            Left legs to rest
          </button>
          <button type="button" onClick={() => poser.rest("right")}>
            Right legs to rest
          </button>
          <button type="button" onClick={() => poser.rest("all")}>
            All to rest
          </button>
        </div>
        <NamedPoses />
      </details>
    </>
  );
}

/** Poses by name: those of this move, and those of the library. */
function NamedPoses(): JSX.Element {
  const maker = useMaker();
  const poser = usePoser();
  const name = useSignal("");
  const everywhere = useSignal(false);
  const own = Object.keys(maker.doc.value?.poses ?? {});
  const others = Object.keys(maker.house.value?.poses ?? {}).filter((each) => !own.includes(each));
  const typed = name.value.trim();
  const good = DOCUMENT_NAME.test(typed);
  const names = [...own, ...others].sort();
  return (
    <div class="pose-named">
      {names.length > 0 && (
        <label class="field">
          Take a kept pose
          <select
            value=""
            onChange={(event) => {
              if (event.currentTarget.value) poser.usePose(event.currentTarget.value);
              event.currentTarget.value = "";
            }}
          >
            <option value="">Which one</option>
            {names.map((each) => (
              <option key={each} value={each}>
                {plainName(each)}
              </option>
            ))}
          </select>
        </label>
      )}
      <form
        onSubmit={(event) => {
          event.preventDefault();
          if (good && poser.keepPose(typed, everywhere.value)) name.value = "";
        }}
      >
        <label class="field">
          Keep this pose as
          <input
            type="text"
            maxLength={64}
            autocomplete="off"
            autocapitalize="off"
            spellcheck={false}
            value={name.value}
            onInput={(event) => {
              name.value = event.currentTarget.value;
            }}
          />
        </label>
        <label class="tick">
          <input
            type="checkbox"
            checked={everywhere.value}
            onChange={(event) => {
              everywhere.value = event.currentTarget.checked;
            }}
          />
          For other moves, too
        </label>
        <button type="submit" disabled={!good}>
          Keep
        </button>
      </form>
    </div>
  );
}
