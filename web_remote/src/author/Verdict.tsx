import type { JSX } from "preact";
import type { FindingInfo } from "../messages.gen.ts";
import { VerdictMark } from "../ui/Marks.tsx";
import { sentence } from "../words.ts";
import { useMaker } from "./context.ts";

/** What the check says, each finding with what can be pressed against it. */
export function Verdict(): JSX.Element {
  const maker = useMaker();
  const judged = maker.judged.value;
  return (
    <section class="make-verdict" aria-label="Verdict" aria-busy={maker.stale.value} data-testid="verdict">
      <p class={`verdict ${word(judged).kind}`} role="status">
        <VerdictMark mark={word(judged).mark} />
        {word(judged).text}
      </p>
      {judged?.problem && (
        <p class="row-reason">
          {judged.place && <b>{judged.place} </b>}
          {sentence(judged.problem)}
        </p>
      )}
      {maker.mended.value && <p class="row-reason">{sentence(maker.mended.value)}</p>}
      <ul class="list">
        {judged?.findings.map((finding, i) => (
          <Finding key={`${finding.rule} ${finding.subject} ${i}`} finding={finding} />
        ))}
      </ul>
    </section>
  );
}

function word(judged: ReturnType<typeof useMaker>["judged"]["value"]): { kind: string; mark: "tick" | "wave" | "cross" | "torn" | "dots"; text: string } {
  if (!judged) return { kind: "checking", mark: "dots", text: "Being checked" };
  if (judged.problem) return { kind: "unreadable", mark: "torn", text: "Cannot be done as it is" };
  if (!judged.fits) return { kind: "fails", mark: "cross", text: "Does not fit" };
  return judged.findings.length > 0
    ? { kind: "warns", mark: "wave", text: "Fits, with care" }
    : { kind: "fits", mark: "tick", text: "Fits" };
}

function Finding({ finding }: { finding: FindingInfo }): JSX.Element {
  const maker = useMaker();
  const { rule, severity, start_s, end_s, subject, value, limit, unit, advice, remedies } = finding;
  return (
    <li class="make-finding">
      <button type="button" class="make-when" onClick={() => maker.player.seek(start_s * 1000)}>
        {start_s.toFixed(1)} s{end_s > start_s + 0.05 && ` to ${end_s.toFixed(1)} s`}
      </button>
      <p>
        <b class={severity === "error" ? "bad" : undefined}>{rule.replace("-", " ")}</b>
        {subject && ` ${subject.replace("_", " ")}`}: {rounded(value)} of {rounded(limit)} {unit}
      </p>
      <p class="row-reason">{sentence(advice)}</p>
      {remedies.map(({ kind, words }) => (
        <button
          key={kind}
          type="button"
          disabled={maker.stale.value || maker.mending.value !== ""}
          onClick={() => maker.mend(finding, kind)}
        >
          {words}
        </button>
      ))}
    </li>
  );
}

function rounded(value: number): string {
  return Math.abs(value) >= 100 ? value.toFixed(0) : value.toFixed(1);
}
