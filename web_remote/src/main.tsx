import "./style/all.css";
import { render } from "preact";
import { browserClock } from "./clock.ts";
import { LIVE_PATH } from "./messages.gen.ts";
import { browserStore, deviceName, Pairing } from "./pairing.ts";
import { Remote } from "./remote.ts";
import { App } from "./ui/App.tsx";
import { HouseContext } from "./ui/context.ts";

const pairing = new Pairing(location, history, browserStore());
if (!pairing.name) pairing.name = deviceName(navigator.userAgent, navigator.maxTouchPoints > 1);

function open(): WebSocket {
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  return new WebSocket(`${scheme}://${location.host}${LIVE_PATH}`);
}

let remote = newRemote();

function newRemote(): Remote {
  return new Remote({ open, hello: () => ({ key: pairing.key ?? "", name: pairing.name }), clock: browserClock });
}

function show(): void {
  const place = document.getElementById("remote");
  if (!place) throw new Error("index.html has no #remote");
  const paired = pairing.key !== null;
  if (paired) remote.start();
  render(
    <HouseContext.Provider value={{ remote, pairing, pair }}>
      <App paired={paired} />
    </HouseContext.Provider>,
    place,
  );
}

/** Begins anew with this key: nothing of what another hub said stays on the screen. */
function pair(key: string | null): void {
  pairing.key = key;
  remote.end();
  remote = newRemote();
  show();
}

document.addEventListener("visibilitychange", () => remote.show(document.visibilityState === "visible"));
window.addEventListener("pagehide", () => remote.show(false));
window.addEventListener("pageshow", () => remote.show(true));
window.addEventListener("online", () => remote.hurry());
// A second code scanned in the same window comes as a change of the fragment alone.
window.addEventListener("hashchange", () => {
  const fresh = new Pairing(location, history, browserStore());
  if (location.hash === "" && fresh.key !== pairing.key) pair(fresh.key);
});

show();
