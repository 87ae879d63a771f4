import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useEffect } from "preact/hooks";
import type { FlightCurve, FlightTold } from "../messages.gen.ts";
import { useRemote } from "../ui/context.ts";
import { jointWords } from "../bringup/words.ts";
import { sentence } from "../words.ts";

/** What happened in the minute before a fault, or before now. */
export function Minute(): JSX.Element {
  const remote = useRemote();
  const told = remote.flight.value;
  const shown = useSignal<readonly string[]>([]);
  const ask = (name: string): void => {
    remote.send({ type: "ask_flight", name, joints: [...shown.value] });
  };
  useEffect(() => {
    ask("");
  }, [remote]);
  if (!told) return <p class="empty">It is on its way.</p>;
  return (
    <>
      <div class="make-tools">
        <label class="field">
          Which minute
          <select
            value={told.name}
            onChange={(event) => {
              ask(event.currentTarget.value);
            }}
          >
            <option value="">the last one</option>
            {told.kept.map((name) => (
              <option key={name} value={name}>
                fault of {name}
              </option>
            ))}
          </select>
        </label>
        <button type="button" onClick={() => ask(told.name)}>
          Look again
        </button>
      </div>
      <ul class="ready-words" data-testid="minute">
        {told.summary.map((line) => (
          <li key={line}>{sentence(line)}</li>
        ))}
      </ul>
      <section aria-label="Curves">
        <h2>Curves</h2>
        <label class="field">
          Joints
          <select
            value={(shown.value[0] ?? "").split(".")[0]}
            onChange={(event) => {
              const leg = event.currentTarget.value;
              shown.value = leg === "" ? [] : told.joints.filter((name) => name === leg || name.startsWith(`${leg}.`));
              ask(told.name);
            }}
          >
            <option value="">those that moved most</option>
            {groups(told.joints).map((name) => (
              <option key={name} value={name}>
                {jointWords(name)}
              </option>
            ))}
          </select>
        </label>
        {told.curves.map((curve) => (
          <Curve key={curve.name} curve={curve} told={told} />
        ))}
      </section>
      <section aria-label="In order">
        <h2>In order</h2>
        <ol class="ready-words">
          {told.lines.map((line) => (
            <li key={`${line.t_s} ${line.text}`} class={line.kind === "fault" ? "wrong" : ""}>
              <time>{line.at}</time> {line.kind === "fault" && "Fault: "}
              {sentence(line.text)}
            </li>
          ))}
        </ol>
      </section>
    </>
  );
}

/** Legs, and joints that belong to none. */
function groups(joints: readonly string[]): string[] {
  return [...new Set(joints.map((name) => name.split(".")[0] ?? name))];
}

const [WIDE, HIGH] = [300, 44];

function Curve({ curve, told }: { curve: FlightCurve; told: FlightTold }): JSX.Element {
  const known = curve.values.filter((value) => value !== null);
  const [from, to] = [told.t_s[0] ?? 0, told.t_s[told.t_s.length - 1] ?? 1];
  const low = Math.min(...known);
  const high = Math.max(...known);
  const x = (t: number): string => ((WIDE * (t - from)) / Math.max(to - from, 0.1)).toFixed(1);
  let path = "";
  let pen = "M";
  for (const [i, value] of curve.values.entries()) {
    if (value === null) {
      pen = "M";
      continue;
    }
    path += `${pen}${x(told.t_s[i] ?? 0)} ${(HIGH - 3 - ((HIGH - 6) * (value - low)) / Math.max(high - low, 1e-6)).toFixed(1)}`;
    pen = "L";
  }
  const words = known.length === 0 ? "not known" : `${short(low)} to ${short(high)}`;
  return (
    <figure class="ready-curve">
      <figcaption>
        <span>{curve.name.includes(".") ? jointWords(curve.name) : curve.name}</span> <span>{words}</span>
      </figcaption>
      <svg viewBox={`0 0 ${WIDE} ${HIGH}`} preserveAspectRatio="none" role="img" aria-label={`${curve.name}: ${words}`}>
        <path class="floor" d={`M0 ${HIGH - 1}H${WIDE}`} />
        {path && <path d={path} />}
        {told.fault_s !== null && <path class="fault" d={`M${x(told.fault_s)} 0V${HIGH}`} />}
      </svg>
    </figure>
  );
}

function short(value: number): string {
  const size = Math.abs(value);
  return value.toFixed(size >= 100 ? 0 : size >= 10 ? 1 : 2);
}
