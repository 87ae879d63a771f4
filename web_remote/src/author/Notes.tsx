import type { JSX } from "preact";
import { plainName, sentence } from "../words.ts";
import { useMaker } from "./context.ts";
import { sample } from "./posing/sample.ts";

/** What somebody has to know or decide before going on. */
export function Notes(): JSX.Element {
  const maker = useMaker();
  const conflict = maker.conflict.value;
  const changed = maker.changed.value;
  return (
    <>
      {conflict && (
        <div class="asks" role="alertdialog" aria-label="Saved by someone else">
          <p>{sentence(conflict.words)} Yours has not been saved over it.</p>
          <div class="choices">
            <button type="button" onClick={() => maker.keepMine()}>
              Save mine; theirs stays under Earlier
            </button>
            <button type="button" disabled={!conflict.text} onClick={() => maker.takeTheirs()}>
              Take theirs; Undo brings mine back
            </button>
          </div>
        </div>
      )}
      {changed && !conflict && (
        <div class="make-note" role="status">
          <p>{sentence(changed.words)} You go on with yours; saving will ask.</p>
          <button
            type="button"
            onClick={() => {
              maker.changed.value = null;
            }}
          >
            I see
          </button>
        </div>
      )}
      <Beginning />
      {maker.shipped.value && maker.dirty.value && (
        <p class="make-note">
          {plainName(maker.name.value)} came with the program. Saving makes it yours; the shipped one stays beneath.
        </p>
      )}
      {maker.unable.value && (
        <p class="wrong" role="alert">
          {maker.unable.value}
        </p>
      )}
    </>
  );
}

/** A new move is empty: there is something to play with, which nobody has to. */
function Beginning(): JSX.Element | null {
  const maker = useMaker();
  const house = maker.house.value;
  if (!house || maker.base.value !== "" || maker.canUndo.value || maker.n.value > 0) return null;
  return (
    <div class="make-note">
      <p>Nothing moves yet. Under Pose, pull a bead in the picture; or play with a small wave.</p>
      <button type="button" onClick={() => maker.do({ do: "become", doc: sample(maker.name.value, house), why: "sample" })}>
        A small wave
      </button>
    </div>
  );
}
