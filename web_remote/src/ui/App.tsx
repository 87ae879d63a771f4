import { effect, useComputed, useSignal, useSignalEffect } from "@preact/signals";
import type { JSX, TargetedKeyboardEvent } from "preact";
import { useEffect } from "preact/hooks";
import { listenToKeys } from "../keys.ts";
import { browserStore } from "../pairing.ts";
import { recall, remember } from "../place.ts";
import { Stage } from "../stage/Stage.tsx";
import { capital, linkWords, plainName } from "../words.ts";
import { CueLine } from "./CueLine.tsx";
import { useRemote } from "./context.ts";
import { DriveCard } from "./DriveCard.tsx";
import { FootfallRibbon } from "./FootfallRibbon.tsx";
import { BringPlace, MakePlace, ReadyPlace } from "./MakePlace.tsx";
import { MovesCard } from "./MovesCard.tsx";
import { Notices } from "./Notices.tsx";
import { PairingPage } from "./PairingPage.tsx";
import { RecordCard } from "./RecordCard.tsx";
import { RobotCard } from "./RobotCard.tsx";
import { StatusLine } from "./StatusLine.tsx";
import { StopBar } from "./StopBar.tsx";

const CARDS = [
  { id: "drive", name: "Drive", card: DriveCard },
  { id: "moves", name: "Moves", card: MovesCard },
  { id: "record", name: "Record", card: RecordCard },
  { id: "robot", name: "Robot", card: RobotCard },
] as const;

type CardId = (typeof CARDS)[number]["id"];

export function App({ paired }: { paired: boolean }): JSX.Element {
  const { connection } = useRemote();
  const now = connection.value;
  if (!paired) return <PairingPage wrong={null} />;
  if (now.phase === "unpaired") return <PairingPage wrong={now.why} />;
  return <Show />;
}

function Show(): JSX.Element {
  const remote = useRemote();
  const shown = useSignal<CardId>("drive");
  const stale = useComputed(() => !linkWords(remote.connection.value, remote.state.value).up);
  const robotName = useComputed(() => capital(plainName(remote.robot.value?.name ?? "The robot")));
  useSignalEffect(() => {
    document.title = `${robotName.value} · motionhub`;
  });
  useEffect(() => {
    return listenToKeys(remote, () => shown.peek() === "drive" && !remote.elsewhere.peek());
  }, [remote, shown]);

  useEffect(() => {
    const been = recall(browserStore());
    const card = CARDS.find(({ id }) => id === been.card);
    if (card) shown.value = card.id;
    let back = been.makes ?? null;
    let brought = been.brings === true;
    return effect(() => {
      const role = remote.welcome.value?.role;
      if (!role) return;
      // Once, when it is known that moves may be made here.
      if (back !== null && role === "operator" && remote.makes.peek() === null) remote.makes.value = back;
      back = null;
      if (brought && role === "operator") remote.brings.value = true;
      brought = false;
      remember(browserStore(), { card: shown.value, makes: remote.makes.value, brings: remote.brings.value });
    });
  }, [remote, shown]);

  const turnTo = (event: TargetedKeyboardEvent<HTMLDivElement>): void => {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    const index = CARDS.findIndex(({ id }) => id === shown.value);
    const next = CARDS[(index + step + CARDS.length) % CARDS.length];
    if (!next) return;
    shown.value = next.id;
    document.getElementById(`tab-${next.id}`)?.focus();
  };

  const makes = remote.makes.value;
  const brings = remote.brings.value;
  const readies = remote.readies.value;
  const elsewhere = remote.elsewhere.value;
  return (
    <div class={`show${stale.value ? " stale" : ""}${makes ? " fills makes" : elsewhere ? " fills" : ""}`}>
      <StatusLine title={robotName.value} />
      <Stage>
        {!elsewhere && <FootfallRibbon />}
        <Notices />
      </Stage>
      <main class="hand">
        {makes ? (
          <MakePlace name={makes} />
        ) : brings ? (
          <BringPlace />
        ) : readies ? (
          <ReadyPlace />
        ) : (
          <>
            <CueLine />
            <div class="tabs" role="tablist" aria-label="Cards" onKeyDown={turnTo}>
              {CARDS.map(({ id, name }) => (
                <button
                  key={id}
                  id={`tab-${id}`}
                  type="button"
                  role="tab"
                  aria-selected={shown.value === id}
                  aria-controls={shown.value === id ? `card-${id}` : undefined}
                  tabIndex={shown.value === id ? 0 : -1}
                  onClick={() => {
                    shown.value = id;
                  }}
                >
                  {name}
                </button>
              ))}
            </div>
            {CARDS.map(
              ({ id, card: Card }) =>
                shown.value === id && (
                  <div key={id} class="card" id={`card-${id}`} role="tabpanel" aria-labelledby={`tab-${id}`}>
                    <Card />
                  </div>
                ),
            )}
          </>
        )}
      </main>
      <StopBar />
    </div>
  );
}
