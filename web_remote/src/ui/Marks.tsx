/** Drawn marks: every state has a shape of its own, beside its word. All are decoration to a screen reader. */

import type { ComponentChildren, JSX } from "preact";
import type { BatteryState } from "../messages.gen.ts";
import type { Mark } from "../words.ts";

function Drawn({ children, wide = false }: { children: ComponentChildren; wide?: boolean }): JSX.Element {
  return (
    <svg class={wide ? "mark wide" : "mark"} viewBox={wide ? "0 0 30 20" : "0 0 20 20"} aria-hidden="true">
      {children}
    </svg>
  );
}

/** Two rings, linked, linked by a thread that shows gaps, or apart. */
export function LinkMark({ up, thin = false }: { up: boolean; thin?: boolean }): JSX.Element {
  return up ? (
    <Drawn wide>
      <circle cx="11" cy="10" r="6" />
      <circle cx="19" cy="10" r="6" stroke-dasharray={thin ? "3.1 3.2" : undefined} />
    </Drawn>
  ) : (
    <Drawn wide>
      <circle cx="7" cy="10" r="5" stroke-dasharray="3 2.2" />
      <circle cx="23" cy="10" r="5" stroke-dasharray="3 2.2" />
      <path d="M12.5 15.5 17.5 4.5" />
    </Drawn>
  );
}

/** A cell: full, a third, hollow with a stroke through it, or with a question in it. */
export function BatteryMark({ level }: { level: BatteryState["level"] }): JSX.Element {
  return (
    <Drawn wide>
      <path d="M3.5 5.5h20v9h-20zM26.5 8.5v3" />
      {level === "ok" && <path class="filled" d="M6 8h15v4H6z" />}
      {level === "low" && <path class="filled" d="M6 8h4v4H6z" />}
      {level === "empty" && <path d="M7 17 20 3" />}
      {level === "unknown" && <path d="M9 10h9" stroke-dasharray="2 2.6" />}
    </Drawn>
  );
}

/** A hand on the card: filled when it is this one. */
export function HandMark({ mine, taken }: { mine: boolean; taken: boolean }): JSX.Element {
  return (
    <Drawn>
      <circle cx="10" cy="6" r="3.4" class={mine ? "filled" : ""} />
      <path
        d="M3.5 17.5c.6-8 12.4-8 13 0z"
        class={mine ? "filled" : ""}
        stroke-dasharray={taken ? undefined : "2.4 2"}
      />
    </Drawn>
  );
}

const PENCIL: Record<Mark, JSX.Element> = {
  tick: <path d="M3.5 11.5 8 16 17 4.5" />,
  wave: <path d="M2.5 12c2.5-6 5-6 7.5-1.5S15 15 17.5 8" />,
  cross: <path d="M4.5 4.5 15.5 15.5M15.5 4.5 4.5 15.5" />,
  torn: <path d="M4 3.5h12v5l-2.4 2 2.4 2v4H4v-4l2.4-2L4 8.5z" />,
  dots: <path d="M4 10h.01M10 10h.01M16 10h.01" class="dots" />,
};

/** A verdict, as a stage manager would pencil it beside a cue. */
export function VerdictMark({ mark }: { mark: Mark }): JSX.Element {
  return <Drawn>{PENCIL[mark]}</Drawn>;
}

export function PlayMark(): JSX.Element {
  return (
    <Drawn>
      <path class="filled" d="M6 3.5v13l11-6.5z" />
    </Drawn>
  );
}

export function RecordMark({ on }: { on: boolean }): JSX.Element {
  return (
    <Drawn>
      <circle cx="10" cy="10" r="7" />
      {on ? <path class="filled" d="M7 7h6v6H7z" /> : <circle cx="10" cy="10" r="3.5" class="filled" />}
    </Drawn>
  );
}
