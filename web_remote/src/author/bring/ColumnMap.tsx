import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import type { ReadTable } from "../../messages.gen.ts";
import { useMaker } from "../context.ts";
import { jointWords } from "../posing/words.ts";
import { guessed, guessedTime, type Table } from "./table.ts";
import { Within } from "./Within.tsx";

interface ColumnMapProps {
  table: Table;
  error: { value: number };
  take: (message: ReadTable) => void;
}

/** Which column of a table is which joint; what is called alike is chosen already. */
export function ColumnMap({ table, error, take }: ColumnMapProps): JSX.Element {
  const maker = useMaker();
  const joints = maker.house.value?.robot.joints ?? [];
  const first = guessedTime(table.heads);
  const columns = useSignal<Record<string, string>>(Object.fromEntries(joints.map((joint) => [joint, guessed(joint, table.heads)])));
  const time = useSignal(first.head);
  const milliseconds = useSignal(first.milliseconds);
  const rate = useSignal(50);
  const mapped = Object.entries(columns.value).filter(([, head]) => head !== "");
  const used = new Set([...mapped.map(([, head]) => head), time.value]);
  const left = table.heads.filter((head) => !used.has(head));
  const twice = mapped.map(([, head]) => head).find((head, i, all) => all.indexOf(head) !== i || head === time.value);
  const options = (
    <>
      <option value="">none</option>
      {table.heads.map((head) => (
        <option key={head} value={head}>
          {head}
        </option>
      ))}
    </>
  );
  return (
    <form
      class="bring-columns"
      aria-label="Which column is what"
      onSubmit={(event) => {
        event.preventDefault();
        take({
          type: "read_table",
          name: maker.name.value,
          text: table.text,
          columns: Object.fromEntries(mapped),
          time: time.value,
          milliseconds: milliseconds.value,
          rate_hz: time.value ? 50 : rate.value,
          error_deg: error.value,
        });
      }}
    >
      <p>
        <b>{table.name}</b>: {table.rows} rows, {table.heads.length} columns. {mapped.length} of {joints.length} joints have one; the others stay at rest.
        {left.length > 0 && ` Left out: ${left.join(", ")}.`}
      </p>
      <div class="bring-time">
        <label class="field">
          Time
          <select
            value={time.value}
            onChange={(event) => {
              time.value = event.currentTarget.value;
            }}
          >
            {options}
          </select>
        </label>
        {time.value ? (
          <label class="field">
            is in
            <select
              value={milliseconds.value ? "ms" : "s"}
              onChange={(event) => {
                milliseconds.value = event.currentTarget.value === "ms";
              }}
            >
              <option value="s">seconds</option>
              <option value="ms">milliseconds</option>
            </select>
          </label>
        ) : (
          <label class="field">
            Rows each second
            <input
              type="number"
              min={1}
              max={1000}
              value={rate.value}
              onChange={(event) => {
                rate.value = Math.min(1000, Math.max(1, event.currentTarget.valueAsNumber || 50));
              }}
            />
          </label>
        )}
      </div>
      <details open={mapped.length < joints.length}>
        <summary>Joints, in degrees</summary>
        <div class="bring-joints">
          {joints.map((joint) => (
            <label key={joint} class="field">
              {jointWords(joint)}
              <select
                value={columns.value[joint] ?? ""}
                onChange={(event) => {
                  columns.value = { ...columns.value, [joint]: event.currentTarget.value };
                }}
              >
                {options}
              </select>
            </label>
          ))}
        </div>
      </details>
      <Within error={error} />
      {twice && (
        <p class="wrong" role="alert">
          The column {twice} is chosen twice.
        </p>
      )}
      <button type="submit" class="primary" disabled={mapped.length === 0 || twice !== undefined}>
        Make keys of it
      </button>
    </form>
  );
}
