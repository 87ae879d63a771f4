/**
 * The place where a move is made, in place of the cards: heading, pose, strip, verdict. It is loaded when it is first
 * opened. Parts read the Maker (client.ts) and call `do`; none talks to the hub itself.
 */

import { effect, useComputed, useSignal } from "@preact/signals";
import type { JSX } from "preact";
import { useEffect, useMemo, useRef } from "preact/hooks";
import { browserClock } from "../clock.ts";
import { browserStore } from "../pairing.ts";
import { recall, remember } from "../place.ts";
import type { Remote } from "../remote.ts";
import { useRemote } from "../ui/context.ts";
import { Bring } from "./Bring.tsx";
import { Maker } from "./client.ts";
import { MakerContext } from "./context.ts";
import { Heading } from "./Heading.tsx";
import { Journal } from "./journal.ts";
import { Notes } from "./Notes.tsx";
import { Posing } from "./Posing.tsx";
import { partsOf, poserOf } from "./posing/poser.ts";
import { Strip } from "./Strip.tsx";
import { Verdict } from "./Verdict.tsx";

const makers = new WeakMap<Remote, Maker>();

/** One for each remote: what is open stays open while other cards are looked at. */
export function makerOf(remote: Remote): Maker {
  const known = makers.get(remote);
  if (known) return known;
  const maker = new Maker({
    send: (message) => remote.send(message),
    connection: remote.connection,
    robot: remote.robot,
    tell: (level, text) => remote.tell(level, text),
    clock: browserClock,
    next: (callback) => {
      const asked = requestAnimationFrame(callback);
      return () => cancelAnimationFrame(asked);
    },
    journal: new Journal(browserStore()),
  });
  remote.hearMaking = (message) => void maker.receive(message);
  makers.set(remote, maker);
  return maker;
}

export function Make({ name }: { name: string }): JSX.Element {
  const remote = useRemote();
  const maker = useMemo(() => makerOf(remote), [remote]);
  useEffect(() => {
    if (maker.name.peek() !== name) maker.open(name);
  }, [maker, name]);
  useEffect(() => {
    // On the window, since what had the focus may have gone: a mend's own button goes when it is pressed.
    const press = (event: KeyboardEvent): void => wayBack(event, maker);
    window.addEventListener("keydown", press);
    return () => window.removeEventListener("keydown", press);
  }, [maker]);
  useEffect(() => {
    // The stage shows the move at the player's time: under a hand at once, else as the hub has said that it goes.
    const end = effect(() => {
      const live = remote.state.value;
      remote.figure.value = live && (poserOf(maker).figure(live) ?? maker.figure(live));
    });
    return () => {
      end();
      maker.player.pause();
      remote.figure.value = null;
    };
  }, [remote, maker]);
  useEffect(() => backWhere(maker), [maker]);
  useEffect(() => {
    // The hub refused to open it: there is nothing to show.
    return effect(() => {
      if (maker.name.value === "" && !maker.opening.value && remote.makes.value === name) remote.makes.value = null;
    });
  }, [remote, maker, name]);
  const part = useSignal<Part>(PARTS.find(([id]) => id === recall(browserStore()).turn)?.[0] ?? "time");
  const place = useRef<HTMLDivElement>(null);
  // Whether there is a move, and not which: else all of this would be looked at again for every edit.
  const there = useComputed(() => maker.sheet.value !== null).value;
  return (
    <MakerContext.Provider value={maker}>
      <div class="make" ref={place} data-testid="make" data-part={part.value}>
        <div class="make-top">
          <Heading />
          <Notes />
          {there && (
            <div class="make-turn" role="group" aria-label="What is shown">
              {PARTS.map(([id, words]) => (
                <button
                  key={id}
                  type="button"
                  aria-pressed={part.value === id}
                  data-turn={id}
                  onClick={() => {
                    part.value = id;
                    remember(browserStore(), { turn: id });
                    // Where all of them are shown it is a way down to one.
                    place.current?.querySelector(`[data-is="${id}"]`)?.scrollIntoView({ block: "start" });
                  }}
                >
                  {words}
                  {id === "check" && (maker.judged.value?.findings.length ?? 0) > 0 && ` ${maker.judged.value?.findings.length}`}
                </button>
              ))}
            </div>
          )}
        </div>
        {there ? (
          <>
            <div class="make-time">
              <Strip />
            </div>
            <div class="make-parts">
              <div class="make-part" data-is="pose">
                <Posing />
              </div>
              <div class="make-part" data-is="check">
                <Verdict />
              </div>
              <div class="make-part" data-is="more">
                <Bring />
              </div>
            </div>
          </>
        ) : (
          <p class="empty">The move is on its way.</p>
        )}
      </div>
    </MakerContext.Provider>
  );
}

/** Goes to the moment and the part that were looked at when the page was left, and notes those that are. */
function backWhere(maker: Maker): () => void {
  const poser = poserOf(maker);
  let been = "";
  const end = effect(() => {
    const name = maker.name.value;
    if (!maker.sheet.value || been === name) return;
    been = name;
    const { makes, at_ms, part } = recall(browserStore());
    if (makes !== name) return;
    if (typeof at_ms === "number") maker.player.seek(at_ms);
    const house = maker.house.peek();
    const lane = house && partsOf(house).find((each) => each === part);
    if (lane) poser.part.value = lane;
  });
  const keep = (): void => {
    maker.note();
    if (maker.name.peek()) remember(browserStore(), { makes: maker.name.peek(), at_ms: Math.round(maker.player.at.peek()), part: poser.part.peek() });
  };
  window.addEventListener("pagehide", keep);
  document.addEventListener("visibilitychange", keep);
  return () => {
    end();
    window.removeEventListener("pagehide", keep);
    document.removeEventListener("visibilitychange", keep);
  };
}

/** Where there is little room one of these is shown at a time; elsewhere all of them are. */
const PARTS = [
  ["time", "Time"],
  ["pose", "Pose"],
  ["check", "Check"],
  ["more", "Robot, files"],
] as const;

type Part = (typeof PARTS)[number][0];

/** Ctrl Z and Ctrl Y wherever the focus is, but in words that are being typed; Ctrl S saves. */
function wayBack(event: KeyboardEvent, maker: Maker): void {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  const key = event.key.toLowerCase();
  const typing = event.target instanceof HTMLInputElement && event.target.type === "text";
  if (key === "s") {
    if (maker.dirty.value) maker.save();
  } else if (typing) return;
  else if (key === "z" && !event.shiftKey) maker.undo();
  else if (key === "y" || key === "z") maker.redo();
  else return;
  event.preventDefault();
}
