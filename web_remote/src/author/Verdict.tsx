import type { JSX } from "preact";
import type { FindingInfo } from "../messages.gen.ts";
import { VerdictMark } from "../ui/Marks.tsx";
import { sentence } from "../words.ts";
import { useMaker } from "./context.ts";
import type { Maker } from "./client.ts";
import { short } from "./strip/Chosen.tsx";
import { stripOf } from "./strip/state.ts";

/** What the check says in a word, of exactly what is on the screen: while it does not know, it says so. */
export function VerdictLine(): JSX.Element {
  const maker = useMaker();
  const { kind, mark, text } = word(maker);
  const settled = !maker.stale.value;
  return (
    <p class={`verdict ${kind}`} data-testid="verdict-line" aria-busy={!settled}>
      <VerdictMark mark={mark} />
      <span aria-hidden="true">{text}</span>
      {/* Said only when it stands: not at every step of a drag. */}
      <span class="unseen" role="status">
        {settled ? text : ""}
      </span>
    </p>
  );
}

function word(maker: Maker): { kind: string; mark: "tick" | "wave" | "cross" | "torn" | "dots"; text: string } {
  const judged = maker.judged.value;
  if (!judged || maker.stale.value) return { kind: "checking", mark: "dots", text: "Being checked" };
  if (judged.problem) return { kind: "unreadable", mark: "torn", text: "Cannot be done as it is" };
  if (!judged.fits) return { kind: "fails", mark: "cross", text: "Does not fit" };
  return judged.findings.length > 0
    ? { kind: "warns", mark: "wave", text: "Fits, with care" }
    : { kind: "fits", mark: "tick", text: "Fits" };
}

/** What the check says, each finding with what can be pressed against it. */
export function Verdict(): JSX.Element {
  const maker = useMaker();
  const judged = maker.listed.value;
  return (
    <section class="make-verdict" aria-label="Verdict" aria-busy={maker.mendless} data-testid="verdict">
      <h2>What the check says</h2>
      {judged?.problem && (
        <p class="row-reason">
          {judged.place && <b>{judged.place} </b>}
          {sentence(judged.problem)}
        </p>
      )}
      <p class="row-reason" role="status">
        {maker.mended.value && sentence(maker.mended.value)}
      </p>
      {judged && !judged.problem && judged.findings.length === 0 && <p class="small">Nothing against it.</p>}
      <ul class="list">
        {judged?.findings.map((finding, i) => (
          <Finding key={`${finding.rule} ${finding.subject} ${i}`} finding={finding} place={i} />
        ))}
      </ul>
    </section>
  );
}

function Finding({ finding, place }: { finding: FindingInfo; place: number }): JSX.Element {
  const maker = useMaker();
  const strip = stripOf(maker);
  const { rule, severity, start_s, end_s, subject, value, limit, unit, advice, remedies } = finding;
  const span = end_s > start_s + 0.05 ? `${start_s.toFixed(1)} to ${end_s.toFixed(1)} s` : `${start_s.toFixed(1)} s`;
  return (
    <li class="make-finding">
      <p>
        <b class={severity === "error" ? "bad" : undefined}>{rule.replace("-", " ")}</b>
        {subject && ` ${subject.replace(/_/g, " ")}`}: {short(value)} of {short(limit)} {unit}
      </p>
      <p class="row-reason">{sentence(advice.replace(/_/g, " ") || "what would mend it is being worked out")}</p>
      <div class="make-tools">
        <button
          type="button"
          class="make-when"
          aria-label={`Look at ${span}`}
          onClick={() => strip.lookAt(place)}
        >
          {span}
        </button>
        {remedies.map(({ kind, words }) => (
          <button key={kind} type="button" disabled={maker.mendless} onClick={() => maker.mend(finding, kind)}>
            {words}
          </button>
        ))}
      </div>
    </li>
  );
}
