import assert from "node:assert/strict";
import { test } from "node:test";
import { BACKOFF_MS, type Connection, GIVE_UP_MS, HubLink, PATIENCE_MS, QUIET_MS } from "../src/link.ts";
import { CloseCode, type FromHub } from "../src/messages.gen.ts";
import { HandClock, HandSocket, state, WELCOME } from "./hands.ts";

function begun() {
  const clock = new HandClock();
  const sockets: HandSocket[] = [];
  const phases: Connection["phase"][] = [];
  const received: FromHub[] = [];
  const link = new HubLink({
    open: () => {
      const socket = new HandSocket();
      sockets.push(socket);
      return socket;
    },
    hello: () => ({ key: "k", name: "Phone" }),
    receive: (message) => received.push(message),
    changed: ({ phase }) => phases.push(phase),
    clock,
    random: () => 0,
  });
  link.start();
  const socket = (): HandSocket => {
    const last = sockets.at(-1);
    assert.ok(last);
    return last;
  };
  const welcomed = (): void => {
    socket().opens();
    socket().says(WELCOME);
  };
  return { clock, sockets, socket, phases, received, link, welcomed };
}

test("says hello first, and is live with the welcome", () => {
  const { socket, welcomed, link, phases } = begun();
  welcomed();
  assert.deepEqual(socket().sent[0], { type: "hello", key: "k", name: "Phone" });
  assert.equal(link.connection.phase, "live");
  assert.deepEqual(phases, ["connecting", "live"]);
});

test("states keep it live; their absence is told within a second, and then it comes back", () => {
  const { clock, socket, welcomed, phases } = begun();
  welcomed();
  for (let i = 0; i < 50; i++) {
    clock.pass(40);
    socket().says(state());
  }
  clock.pass(QUIET_MS - 1);
  assert.deepEqual(phases, ["connecting", "live"]);
  clock.pass(1);
  assert.deepEqual(phases, ["connecting", "live", "quiet"]);
  assert.ok(QUIET_MS < 1000);
  socket().says(state());
  assert.deepEqual(phases, ["connecting", "live", "quiet", "live"]);
});

test("a hub that stays quiet is given up and tried again, later and later", () => {
  const { clock, sockets, socket, welcomed, link, phases } = begun();
  welcomed();
  clock.pass(GIVE_UP_MS);
  assert.equal(link.connection.phase, "lost");
  assert.ok(sockets[0]?.closed);
  for (const [i, wait] of BACKOFF_MS.entries()) {
    clock.pass(wait - 1);
    assert.equal(sockets.length, i + 1);
    clock.pass(1);
    assert.equal(sockets.length, i + 2);
    socket().breaks(1006);
  }
  // It says "lost" once all the while, not by turns with "connecting".
  assert.equal(phases.filter((phase) => phase === "connecting").length, 1);
  clock.pass(BACKOFF_MS.at(-1) ?? 0);
  welcomed();
  assert.equal(link.connection.phase, "live");
});

test("a socket that opens and says nothing is given up", () => {
  const { clock, socket, link } = begun();
  socket().opens();
  clock.pass(10_000);
  assert.equal(link.connection.phase, "lost");
});

test("a refused key ends it: no more tries", () => {
  const { clock, sockets, socket, link } = begun();
  socket().opens();
  socket().says({ type: "refused", to: "hello", text: "This key is old." });
  socket().breaks(CloseCode.UNPAIRED);
  assert.deepEqual(link.connection, { phase: "unpaired", why: "This key is old." });
  clock.pass(60_000);
  assert.equal(sockets.length, 1);
});

test("a full hub is given time", () => {
  const { clock, sockets, socket } = begun();
  socket().breaks(CloseCode.FULL);
  clock.pass(PATIENCE_MS - 1);
  assert.equal(sockets.length, 1);
  clock.pass(1);
  assert.equal(sockets.length, 2);
});

test("hurry tries at once while waiting, and disturbs nothing else", () => {
  const { sockets, socket, welcomed, link } = begun();
  welcomed();
  link.hurry();
  assert.equal(sockets.length, 1);
  socket().breaks(1006);
  link.hurry();
  assert.equal(sockets.length, 2);
});

test("a Stop pressed while the hub is away goes out first on return, once", () => {
  const { clock, socket, welcomed, link } = begun();
  welcomed();
  socket().breaks(1006);
  assert.equal(link.send({ type: "stop" }), false);
  assert.ok(link.stopOwed);
  clock.pass(1000);
  welcomed();
  assert.deepEqual(socket().types(), ["hello", "stop"]);
  assert.ok(!link.stopOwed);
  clock.pass(100);
  socket().says(state());
  assert.deepEqual(socket().types(), ["hello", "stop"]);
});

test("a Stop into a quiet connection is sent, and said again when the hub is heard", () => {
  const { clock, socket, welcomed, link } = begun();
  welcomed();
  clock.pass(QUIET_MS);
  link.send({ type: "stop" });
  socket().says(state());
  assert.deepEqual(socket().types(), ["hello", "stop", "stop"]);
});

test("nothing else is kept for later", () => {
  const { clock, socket, welcomed, link } = begun();
  assert.equal(link.send({ type: "play", name: "wave" }), false);
  welcomed();
  clock.pass(10);
  assert.deepEqual(socket().types(), ["hello"]);
});

test("repeated commands are left out while the network is clogged, a Stop never", () => {
  const { socket, welcomed, link } = begun();
  welcomed();
  socket().bufferedAmount = 4096;
  assert.equal(link.send({ type: "drive", forward: 1, left: 0, turn: 0 }, { stale: true }), false);
  assert.equal(link.send({ type: "stop" }), true);
  assert.deepEqual(socket().types(), ["hello", "stop"]);
});

test("text frames and rubbish from the hub change nothing", () => {
  const { socket, welcomed, link } = begun();
  welcomed();
  socket().onmessage?.({ data: "hello" } as MessageEvent);
  assert.doesNotThrow(() => socket().onmessage?.({ data: new Uint8Array([0xc1, 0xff]).buffer } as MessageEvent));
  assert.doesNotThrow(() => socket().onmessage?.({ data: new Uint8Array([0x05]).buffer } as MessageEvent));
  assert.equal(link.connection.phase, "live");
});
