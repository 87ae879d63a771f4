import type { JSX } from "preact";
import type { Able } from "../able.ts";
import { useRemote } from "./context.ts";

/** Why nothing can be done here now, and the way to change that, where the thumb is. */
export function Gate({ may }: { may: Able }): JSX.Element | null {
  const remote = useRemote();
  if (may.able) return null;
  return (
    <p class="gate">
      <span>{may.why}</span>
      {may.offerTake && (
        <button type="button" class="primary" onClick={() => remote.send({ type: "take" })}>
          Take control here
        </button>
      )}
    </p>
  );
}
