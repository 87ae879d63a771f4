import type { JSX } from "preact";
import { capital } from "../../words.ts";
import { useMaker } from "../context.ts";
import type { Lane } from "../document.ts";
import type { House } from "../sheet.ts";
import { usePoser } from "./context.ts";
import { partWords } from "./words.ts";

/** The parts as they lie on the robot from above, its nose up: legs at the sides, body and other joints between. */
function places(house: House): { part: Lane; column: 1 | 2 | 3; row: number }[] {
  const { robot } = house;
  const side = (left: boolean): { part: Lane; column: 1 | 3; row: number }[] =>
    robot.legs
      .filter(({ hip_mm }) => hip_mm[1] >= 0 === left)
      .sort((a, b) => b.hip_mm[0] - a.hip_mm[0])
      .map(({ name }, i) => ({ part: `leg:${name}`, column: left ? 1 : 3, row: i + 1 }));
  const middle: { part: Lane; x: number }[] = [
    { part: "body", x: 0 },
    ...robot.extra.map(({ name, at_mm }): { part: Lane; x: number } => ({ part: `joint:${name}`, x: at_mm[0] || -1 })),
  ];
  middle.sort((a, b) => b.x - a.x);
  return [...side(true), ...middle.map(({ part }, i) => ({ part, column: 2 as const, row: i + 1 })), ...side(false)];
}

/** Which part is held: by touch, or by the arrow keys once one of them has the focus. */
export function Parts(): JSX.Element {
  const maker = useMaker();
  const poser = usePoser();
  const house = maker.house.value;
  if (!house) return <></>;
  return (
    <fieldset class="pose-parts">
      <legend class="unseen">Which part to move</legend>
      {places(house).map(({ part, column, row }) => (
        <label key={part} style={{ gridColumn: column, gridRow: row }} class={poser.part.value === part ? "pick picked" : "pick"}>
          <input
            type="radio"
            name="pose-part"
            checked={poser.part.value === part}
            onChange={() => {
              poser.part.value = part;
            }}
          />
          {capital(partWords(part))}
        </label>
      ))}
    </fieldset>
  );
}
