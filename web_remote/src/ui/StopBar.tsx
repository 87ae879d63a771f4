import { useSignal } from "@preact/signals";
import type { JSX, TargetedKeyboardEvent, TargetedMouseEvent, TargetedPointerEvent } from "preact";
import { useEffect, useMemo, useRef } from "preact/hooks";
import type { Bar } from "../able.ts";
import { browserClock } from "../clock.ts";
import { HOLD_MS, Hold, type HoldPhase } from "../hold.ts";
import { useRemote } from "./context.ts";

/** Someone who presses Stop in alarm presses again and long: that must not lift it. */
const SETTLE_MS = 1000;

const LIFT = {
  stopped: "hold to lift",
  halted: "hold to lift",
  limp: "hold to stand up",
  fault: "hold to try again",
} as const;
const NAME = { stopped: "Stopped", halted: "Stopped", limp: "Limp", fault: "Fault" } as const;
const AGAIN = {
  stopped: "press again to lift",
  halted: "press again to lift",
  limp: "press again to stand up",
  fault: "press again to retry",
} as const;

function how(bar: Exclude<Bar, { does: "stop" }>, held: HoldPhase): string {
  if (bar.does === "wait") return bar.why;
  if (held === "holding") return "keep holding…";
  return held === "again" ? AGAIN[bar.from] : LIFT[bar.from];
}

/** The curtain along the bottom edge: Stop, and once it is down, how to lift it. */
export function StopBar(): JSX.Element {
  const remote = useRemote();
  const bar = remote.bar.value;
  const held = useSignal<HoldPhase>("idle");
  const hold = useMemo(
    () =>
      new Hold(
        browserClock,
        () => remote.lift(),
        (phase) => {
          held.value = phase;
        },
      ),
    [remote, held],
  );
  const fellAt = useRef(0);
  useEffect(() => {
    fellAt.current = browserClock.now();
    hold.release();
  }, [bar.does, hold]);

  const settled = (): boolean => browserClock.now() - fellAt.current > SETTLE_MS;
  const pointerDown = (event: TargetedPointerEvent<HTMLButtonElement>): void => {
    if (bar.does === "stop") remote.stop();
    else if (bar.does === "lift" && settled()) {
      event.currentTarget.setPointerCapture(event.pointerId);
      hold.press();
    }
  };
  const keyDown = (event: TargetedKeyboardEvent<HTMLButtonElement>): void => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    if (event.repeat) return;
    if (bar.does === "stop") remote.stop();
    else if (bar.does === "lift" && settled()) hold.press();
  };
  const click = (event: TargetedMouseEvent<HTMLButtonElement>): void => {
    // Without a pointer or a key before it: from assistive technology, which cannot hold.
    if (event.detail !== 0) return;
    if (bar.does === "stop") remote.stop();
    else if (bar.does === "lift" && settled()) hold.tap();
  };
  const release = (): void => hold.release();

  return (
    <footer class="stop">
      <button
        class={`curtain ${bar.does} ${held.value}`}
        type="button"
        aria-disabled={bar.does === "wait"}
        onPointerDown={pointerDown}
        onPointerUp={release}
        onPointerCancel={release}
        onLostPointerCapture={release}
        onContextMenu={(event) => event.preventDefault()}
        onKeyDown={keyDown}
        onKeyUp={release}
        onBlur={release}
        onClick={click}
        style={{ "--hold": `${HOLD_MS}ms` }}
      >
        {bar.does === "stop" ? (
          <>
            <strong>Stop</strong>
            {remote.stopOwed.value && <small>goes out as soon as the hub answers</small>}
          </>
        ) : (
          <strong class="latched">
            {NAME[bar.from]}
            <span> — {how(bar, held.value)}</span>
          </strong>
        )}
      </button>
      <p class="caution">Not an emergency stop: use the supply’s switch.</p>
    </footer>
  );
}
