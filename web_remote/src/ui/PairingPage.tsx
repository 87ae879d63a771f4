import { useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { readKey } from "../pairing.ts";
import { useHouse } from "./context.ts";

/** A plain page for a browser that has no key, or a wrong one. */
export function PairingPage({ wrong }: { wrong: string | null }): JSX.Element {
  const { pair } = useHouse();
  const typed = useSignal("");
  const fault = useSignal("");
  return (
    <main class="pairing">
      <svg class="pairing-lantern" viewBox="0 0 64 64" aria-hidden="true">
        <path class="pool" d="M32 38 6 62h52z" />
        <path d="M25 16c0-9 14-9 14 0M22 16h20M24 40h16" />
        <rect x="23" y="16" width="18" height="24" rx="5" />
      </svg>
      <h1>Pair this device</h1>
      {wrong && (
        <p class="wrong" role="alert">
          {wrong}
        </p>
      )}
      <p>
        Scan the code that the hub shows where it was started. It opens this page with the key in it, and nothing moves
        without one.
      </p>
      <form
        onSubmit={(event) => {
          event.preventDefault();
          const key = readKey(typed.value);
          if (key) pair(key);
          else fault.value = "That is no key: it is what stands after “key=” in the address that the hub shows.";
        }}
      >
        <label class="field">
          Or type the key
          <input
            type="text"
            value={typed.value}
            autocomplete="off"
            autocapitalize="off"
            spellcheck={false}
            aria-invalid={fault.value !== ""}
            onInput={(event) => {
              typed.value = event.currentTarget.value;
              fault.value = "";
            }}
          />
        </label>
        {fault.value && (
          <p class="wrong" role="alert">
            {fault.value}
          </p>
        )}
        <button type="submit" class="big primary">
          Pair
        </button>
      </form>
    </main>
  );
}
