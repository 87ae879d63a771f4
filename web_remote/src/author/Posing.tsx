import type { JSX } from "preact";
import { BODY_AXES } from "./document.ts";
import { useMaker } from "./context.ts";
import { tracksOf, valueAt } from "./tracks.ts";

/** The body at the player's time, in numbers: a change keys it there. */
export function Posing(): JSX.Element {
  const maker = useMaker();
  const [doc, house] = [maker.doc.value, maker.house.value];
  if (!doc || !house) return <></>;
  const at = maker.player.at.value;
  const tracks = tracksOf(doc, house);
  return (
    <section class="make-posing" aria-label="Pose">
      {BODY_AXES.map((axis) => (
        <label key={axis} class="field">
          {axis.replace("_", " ")}
          <input
            type="number"
            value={Math.round((valueAt(tracks, `body.${axis}`, at) ?? 0) * 10) / 10}
            onChange={(event) => maker.do({ do: "key", at_ms: at, pose: { body: { [axis]: event.currentTarget.valueAsNumber } } })}
          />
        </label>
      ))}
    </section>
  );
}
