import { useComputed } from "@preact/signals";
import type { JSX } from "preact";
import { useEffect } from "preact/hooks";
import type { View } from "../stage/view.ts";
import { useRemote } from "../ui/context.ts";
import { MakerContext, useMaker } from "./context.ts";
import { usePoser } from "./posing/context.ts";
import { BodyFields, ExtraFields, LegFields } from "./posing/Fields.tsx";
import { Grips } from "./posing/Grips.tsx";
import { Parts } from "./posing/Parts.tsx";
import { Perform, Performing } from "./posing/Perform.tsx";
import { Report } from "./posing/Report.tsx";
import { Tools } from "./posing/Tools.tsx";

/** The pose at the player's time: which part, where it is, and what can be done with it. All by touch, mouse or keys. */
export function Posing(): JSX.Element {
  const maker = useMaker();
  const poser = usePoser();
  const remote = useRemote();
  useEffect(() => {
    // The beads lie over the stage, which is elsewhere on the page.
    remote.hands.value = ({ view }: { view: View }) => (
      <MakerContext.Provider value={maker}>
        <Grips view={view} />
      </MakerContext.Provider>
    );
    return () => {
      remote.hands.value = null;
      poser.performer.leave();
    };
  }, [remote, maker, poser]);
  const house = maker.house.value;
  const part = poser.part.value;
  const name = part.slice(part.indexOf(":") + 1);
  const leg = part.startsWith("leg:") ? (house?.robot.legs.findIndex((each) => each.name === name) ?? -1) : -1;
  const moment = useComputed(() => {
    const time = `${(poser.when.value / 1000).toFixed(2)} s`;
    if (poser.walks.value) return `At ${time} it walks: its legs go by the gait.`;
    return poser.key.value === null ? `At ${time}; moving something makes a key here.` : `The key at ${time}.`;
  });
  if (!house) return <></>;
  return (
    <section class="make-posing" aria-label="Pose">
      <header class="pose-head">
        <h2>Pose</h2>
        <p class="pose-moment">{moment}</p>
        <button
          type="button"
          class="pose-steps"
          aria-pressed={poser.fine.value}
          onClick={() => {
            poser.fine.value = !poser.fine.value;
          }}
        >
          Fine steps
        </button>
      </header>
      <Performing />
      <Parts />
      <Report />
      <div class="pose-fields">
        {part === "body" && <BodyFields />}
        {leg >= 0 && <LegFields key={part} leg={leg} />}
        {part.startsWith("joint:") && <ExtraFields key={part} name={name} />}
      </div>
      <Tools />
      <Perform />
    </section>
  );
}
