import { useSignal, useSignalEffect } from "@preact/signals";
import type { JSX } from "preact";
import { useMaker } from "../context.ts";

/** What is on the screen, saved or not, as files. */
export function ToOutside(): JSX.Element {
  const maker = useMaker();
  const asked = useSignal(false);
  useSignalEffect(() => {
    const made = maker.exchange.exported.value;
    if (!made || !asked.peek()) return;
    maker.exchange.exported.value = null;
    asked.value = false;
    give(`${made.name}.msgpack`, new Blob([made.data.slice()], { type: "application/vnd.msgpack" }));
  });
  return (
    <section class="make-outside" aria-label="To elsewhere">
      <h2>To elsewhere</h2>
      <div class="make-tools">
        <button
          type="button"
          onClick={() => give(`${maker.name.value}.json`, new Blob([`${JSON.stringify(maker.doc.value, null, 2)}\n`], { type: "application/json" }))}
        >
          The move (.json)
        </button>
        <button
          type="button"
          disabled={!maker.preview.value || asked.value}
          onClick={() => {
            asked.value = true;
            maker.exchange.exportFrames(50);
            // A refusal has been told then.
            setTimeout(() => {
              asked.value = false;
            }, 8000);
          }}
        >
          Its frames (.msgpack)
        </button>
      </div>
    </section>
  );
}

/** Has the browser keep a file. */
function give(name: string, data: Blob): void {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(data);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
