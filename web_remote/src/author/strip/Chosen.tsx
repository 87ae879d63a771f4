/** What can be done with what is chosen on the strip. */

import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useMemo } from "preact/hooks";
import { sentence } from "../../words.ts";
import { APPROACHES, curveOf } from "../approach.ts";
import { useMaker } from "../context.ts";
import { USUAL } from "../document.ts";
import { keyOf, placedKeys } from "../edits.ts";
import { CueFields } from "./CueFields.tsx";
import { TimeField } from "./Fields.tsx";
import { stripOf, type StripState } from "./state.ts";
import { saidTime } from "./view.ts";
import { WalkFields } from "./WalkFields.tsx";

export function Chosen(): JSX.Element {
  const maker = useMaker();
  const strip = stripOf(maker);
  const row = strip.row();
  const item = strip.item();
  if (strip.finding) return <FindingTools strip={strip} />;
  if (row?.kind === "walks" && item) return <WalkFields strip={strip} />;
  if (row?.kind === "cues" && item) return <CueFields strip={strip} />;
  return <KeyTools strip={strip} />;
}

function KeyTools({ strip }: { strip: StripState }): JSX.Element {
  const { maker } = strip;
  const keys = strip.keys;
  const row = strip.row();
  const single = keys.length === 1 && maker.sheet.value ? placedKeys(maker.sheet.value).find(({ id }) => id === keys[0]) : undefined;
  const here = row?.kind === "lane" || row?.kind === "walks" || row?.kind === "cues" ? row : undefined;
  const what = here?.kind === "walks" ? "Walk from here" : here?.kind === "cues" ? "Cue here" : here ? `Key ${here.words} here` : "Key here";
  return (
    <div class="strip-tools" role="group" aria-label="Keys">
      <button type="button" class="primary" onClick={() => strip.keyHere(here, maker.player.at.peek())}>
        {what}
      </button>
      {keys.length > 0 && (
        <>
          {single && <TimeField words="At" ms={single.ms} take={(ms) => strip.move(strip.grip(), ms - single.ms)} />}
          <Approach strip={strip} keys={keys} />
          <button type="button" onClick={() => strip.copy()}>
            Copy
          </button>
        </>
      )}
      <button type="button" disabled={maker.clip.value.length === 0} onClick={() => strip.paste(maker.player.at.peek())}>
        Paste here
      </button>
      {keys.length > 0 && (
        <button type="button" onClick={() => strip.remove()}>
          Remove {keys.length > 1 ? maker.selection.value.length : ""}
        </button>
      )}
    </div>
  );
}

const OWN = "own";

/** How the chosen keys are come to, with its curve. */
function Approach({ strip, keys }: { strip: StripState; keys: readonly number[] }): JSX.Element {
  const { maker } = strip;
  const typing = useSignal<string | null>(null);
  const found = new Set(keys.map((id) => (maker.sheet.value && keyOf(maker.sheet.value, id)?.approach) ?? USUAL));
  const now = found.size === 1 ? ([...found][0] as string) : "";
  const known = (APPROACHES as readonly string[]).includes(now);
  const typed = typing.value;
  return (
    <>
      <label class="strip-field">
        <span>Comes to it</span>
        <span class="strip-unit">
          <select
            value={typed === null ? now : OWN}
            onChange={(event) => {
              const { value } = event.currentTarget;
              if (value === OWN) typing.value = now && !known ? now : "cubic-bezier(0.3, 0, 0.2, 1)";
              else {
                typing.value = null;
                maker.do({ do: "approach", keys, approach: value });
              }
            }}
          >
            {now === "" && <option value="">in different ways</option>}
            {APPROACHES.map((name) => (
              <option key={name} value={name}>
                {name.replace("-", " ")}
              </option>
            ))}
            {now !== "" && !known && <option value={now}>{now}</option>}
            <option value={OWN}>a curve of my own</option>
          </select>
          <CurveMark approach={typed ?? (now || USUAL)} />
        </span>
      </label>
      {typed !== null && (
        <label class="strip-field">
          <span>As CSS writes it</span>
          <input
            type="text"
            value={typed}
            aria-invalid={!curveOf(typed)}
            onInput={(event) => {
              typing.value = event.currentTarget.value;
            }}
            onChange={(event) => {
              if (maker.do({ do: "approach", keys, approach: event.currentTarget.value.trim() })) typing.value = null;
            }}
          />
        </label>
      )}
    </>
  );
}

function CurveMark({ approach }: { approach: string }): JSX.Element {
  const line = useMemo(() => {
    const curve = curveOf(approach);
    return curve && `M${Array.from({ length: 33 }, (_, i) => `${(i * 1.25).toFixed(1)} ${(26 - curve(i / 32) * 22).toFixed(1)}`).join("L")}`;
  }, [approach]);
  return (
    <svg class="strip-curve" viewBox="-2 -4 44 36" aria-hidden="true">
      {line && <path d={line} />}
    </svg>
  );
}

/** A finding where it happens, with its mends. */
function FindingTools({ strip }: { strip: StripState }): JSX.Element | null {
  const { maker } = strip;
  const finding = strip.finding;
  if (!finding) return null;
  const { rule, severity, subject, value, limit, unit, advice, remedies, start_s, end_s } = finding;
  const doc = maker.doc.value;
  return (
    <div class="strip-tools strip-finding" role="group" aria-label="What is wrong here">
      <p>
        <b class={severity === "error" ? "bad" : undefined}>{rule.replace("-", " ")}</b>
        {subject && ` ${subject.replace(/_/g, " ")}`}: {short(value)} of {short(limit)} {unit}
        {doc && `, ${saidTime(doc, start_s * 1000)}${end_s > start_s + 0.05 ? ` to ${saidTime(doc, end_s * 1000)}` : ""}`}. {sentence(advice.replace(/_/g, " ") || "what would mend it is being worked out")}
      </p>
      {remedies.map(({ kind, words }) => (
        <button key={kind} type="button" class="primary" disabled={maker.mendless} onClick={() => maker.mend(finding, kind)}>
          {words}
        </button>
      ))}
    </div>
  );
}

/** A figure as the verdict shows it. */
export function short(value: number): string {
  return Math.abs(value) >= 100 ? value.toFixed(0) : value.toFixed(1);
}
