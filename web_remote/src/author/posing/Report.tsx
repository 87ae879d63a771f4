import { useComputed } from "@preact/signals";
import type { JSX } from "preact";
import { capital } from "../../words.ts";
import { useMaker } from "../context.ts";
import { usePoser } from "./context.ts";
import { hardest } from "./limits.ts";
import { jointWords } from "./words.ts";

/** What the pose of this moment asks of the robot: room in the joints at once, torque and margin as the hub says. */
export function Report(): JSX.Element {
  const maker = useMaker();
  const poser = usePoser();
  const found = useComputed(() => {
    const [now, house] = [poser.now.value, maker.house.value];
    // While it plays, the stage shows it; this is about the moment at which it stands.
    const moment = maker.player.playing.value ? null : maker.moment.value;
    return now && house ? { ...hardest(house, now.joints, moment?.load ?? []), margin: moment?.margin_mm, amps: moment?.amps, least: house.maker.margin_mm, misses: Math.max(...now.misses, 0) } : null;
  });
  const room = useComputed(() => {
    const now = found.value;
    if (now && now.misses > 0.5) return `A foot is ${now.misses.toFixed(0)} mm out of reach`;
    if (!now?.range) return "All joints have room";
    const { joint, left_deg } = now.range;
    return left_deg < 0.6 ? `${capital(jointWords(joint))} is at its end` : `${capital(jointWords(joint))} is ${left_deg.toFixed(0)}° from its end`;
  });
  const torque = useComputed(() => {
    const hard = found.value?.torque;
    return hard ? `${capital(jointWords(hard.joint))} takes ${Math.round(hard.percent)} % of its torque` : "Torque: the hub is asked";
  });
  const margin = useComputed(() => {
    const { margin: now, least = 0 } = found.value ?? {};
    if (now === undefined) return "Margin: the hub is asked";
    return now < least ? `Margin ${now.toFixed(0)} mm, less than ${least.toFixed(0)}` : `Margin ${now.toFixed(0)} mm`;
  });
  const kind = (level: number): string => ["", "near", "ends"][level] ?? "";
  const ranges = useComputed(() => kind(found.value && found.value.misses > 0.5 ? 2 : !found.value?.range ? 0 : found.value.range.left_deg < 0.6 ? 2 : 1));
  const torques = useComputed(() => kind((found.value?.torque?.percent ?? 0) > 100 ? 2 : (found.value?.torque?.percent ?? 0) > 80 ? 1 : 0));
  const margins = useComputed(() => kind((found.value?.margin ?? Infinity) < (found.value?.least ?? 0) ? 2 : 0));
  return (
    <ul class="pose-report" data-testid="pose-report" aria-label="This pose">
      <li class={ranges}>{room}</li>
      <li class={torques}>{torque}</li>
      <li class={margins}>{margin}</li>
    </ul>
  );
}
