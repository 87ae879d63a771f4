/** What comes before and after a show, one thing a screen. Loaded when it is first opened, from the Robot card. */

import { useSignal } from "@preact/signals";
import type { ComponentType, JSX } from "preact";
import { useLayoutEffect, useRef } from "preact/hooks";
import { useRemote } from "../ui/context.ts";
import { Check } from "./Check.tsx";
import { Minute } from "./Minute.tsx";
import { Power } from "./Power.tsx";

const SCREENS: readonly { id: string; name: string; what: string; screen: ComponentType }[] = [
  { id: "check", name: "Before a show", what: "Radio, battery, trims, moves, every joint: go or no-go", screen: Check },
  { id: "power", name: "Power", what: "The battery by a meter, what is left of it, what the regulator must give", screen: Power },
  { id: "minute", name: "The last minute", what: "What happened before a fault, in words and curves", screen: Minute },
];

export function Ready(): JSX.Element {
  const remote = useRemote();
  const open = useSignal("");
  const heading = useRef<HTMLHeadingElement>(null);
  const now = SCREENS.find(({ id }) => id === open.value);
  const screen = open.value;
  // With the change itself: a moment later, somebody's next key would be taken from where they had gone meanwhile.
  useLayoutEffect(() => {
    heading.current?.focus();
  }, [screen]);
  const Screen = now?.screen;
  return (
    <div class="make ready" data-testid="ready">
      <header class="make-head">
        <div class="make-title">
          <h2 ref={heading} tabIndex={-1}>
            {now ? now.name : "Before and after a show"}
          </h2>
        </div>
        <button
          type="button"
          onClick={() => {
            if (now) open.value = "";
            else remote.readies.value = false;
          }}
        >
          {now ? "Back" : "Close"}
        </button>
      </header>
      <div class="make-parts">
        {Screen ? (
          <Screen />
        ) : (
          <>
            {SCREENS.map(({ id, name, what }) => (
              <button
                key={id}
                type="button"
                class="ready-way"
                onClick={() => {
                  open.value = id;
                }}
              >
                <strong>{name}</strong>
                <span>{what}</span>
              </button>
            ))}
            <a class="ready-way" href="/wiring-sheet.html" target="_blank" rel="noreferrer">
              <strong>Wiring sheet, to print</strong>
              <span>Joint, pin, wires, positive direction</span>
            </a>
          </>
        )}
      </div>
    </div>
  );
}
