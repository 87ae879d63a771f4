import type { JSX } from "preact";
import { Slider } from "../../ui/Slider.tsx";

/** The error that is stated: no joint is further off than this at any frame. */
export function Within({ error }: { error: { value: number } }): JSX.Element {
  return <Slider label="Within" min={0.2} max={10} step={0.2} value={error.value} shown={`${error.value.toFixed(1)}°`} onValue={(deg) => (error.value = deg)} />;
}
