import assert from "node:assert/strict";
import { test } from "node:test";
import type { FromBrowser, State } from "../src/messages.gen.ts";
import { NOTICE_MS, Remote } from "../src/remote.ts";
import { HandClock, HandSocket, state, WELCOME } from "./hands.ts";

const ME = { id: "me", name: "Phone" };

function begun(first: Partial<State> = {}) {
  const clock = new HandClock();
  const sockets: HandSocket[] = [];
  const remote = new Remote({
    open: () => {
      const socket = new HandSocket();
      sockets.push(socket);
      return socket;
    },
    hello: () => ({ key: "k", name: "Phone" }),
    clock,
    random: () => 0,
  });
  remote.start();
  const socket = (): HandSocket => sockets.at(-1) as HandSocket;
  socket().opens();
  socket().says(WELCOME);
  socket().says(state(first));
  const since = (mark: number): FromBrowser[] => socket().sent.slice(mark);
  /** Lets time pass with the hub's states coming in. */
  const run = (ms: number, now: Partial<State>): void => {
    for (let t = 0; t < ms; t += 40) {
      clock.pass(40);
      socket().says(state(now));
    }
  };
  return { clock, remote, socket, since, run };
}

test("a watcher of a free robot is offered control, the driver may walk it", () => {
  const { remote, socket } = begun();
  assert.deepEqual(remote.mayDrive.value, { able: false, why: "Nobody is driving.", offerTake: true });
  socket().says(state({ driver: ME }));
  assert.ok(remote.mayDrive.value.able);
  socket().says(state({ driver: { id: "other", name: "Kim" } }));
  assert.deepEqual(remote.mayDrive.value, { able: false, why: "Kim is driving.", offerTake: false });
});

test("a device paired to watch is told so, and can stop", () => {
  const { remote, socket } = begun();
  socket().says({ ...WELCOME, role: "watcher" });
  socket().says(state());
  assert.ok(!remote.mayCommand.value.able);
  remote.stop();
  assert.equal(socket().types().at(-1), "stop");
});

test("losing control, the robot, the hub or the page's place in front lets go", () => {
  const ways: ((house: ReturnType<typeof begun>) => void)[] = [
    ({ socket }) => socket().says(state({ driver: null })),
    ({ socket }) => socket().says(state({ driver: ME, link: { ...state().link, up: false } })),
    ({ socket }) => socket().says(state({ driver: ME, mode: "stopped" })),
    ({ clock }) => clock.pass(1000),
    ({ remote }) => remote.show(false),
    ({ remote }) => remote.stop(),
    ({ socket }) => socket().says({ type: "refused", to: "drive", text: "no" }),
  ];
  for (const [i, way] of ways.entries()) {
    const house = begun({ driver: ME });
    house.remote.drive.hold("pad", { forward: 1, left: 0, turn: 0 });
    assert.ok(house.remote.drive.held);
    way(house);
    assert.ok(!house.remote.drive.held, `way ${i}`);
    assert.deepEqual(house.remote.drive.said, { forward: 0, left: 0, turn: 0 });
  }
});

test("a refused drive is told while it is held, and not when only standing still was refused", () => {
  const { remote, socket } = begun({ driver: ME });
  remote.drive.hold("pad", { forward: 1, left: 0, turn: 0 });
  socket().says({ type: "refused", to: "drive", text: "no" });
  socket().says({ type: "refused", to: "drive", text: "no, again" });
  assert.deepEqual(
    remote.notices.value.map(({ text }) => text),
    ["no"],
  );
});

test("while the page is in front it is heard at least four times in a lease's two seconds", () => {
  const { remote, run, since, socket } = begun({ driver: ME });
  const mark = socket().sent.length;
  run(2000, { driver: ME });
  assert.ok(since(mark).filter(({ type }) => type === "ping").length >= 4);
  remote.show(false);
  const hidden = socket().sent.length;
  run(2000, { driver: ME });
  assert.equal(since(hidden).filter(({ type }) => type === "ping").length, 0);
});

test("sliders stand as the hub tells, and as the hand had them until it can have heard of it", () => {
  const { remote, run, socket } = begun({ driver: ME, pace: 0.4, posture: [12, 0, -3, 0] });
  assert.equal(remote.pace.value.value, 0.4);
  assert.deepEqual(remote.posture.value.value, { height_mm: 12, roll_deg: 0, pitch_deg: -3, yaw_deg: 0 });
  remote.carry({ roll_deg: 5 });
  assert.deepEqual(socket().sent.at(-1), { type: "posture", height_mm: 12, roll_deg: 5, pitch_deg: -3, yaw_deg: 0 });
  assert.equal(remote.posture.value.value.roll_deg, 5, "an older state does not pull it back");
  run(300, { driver: ME, posture: [12, 0, -3, 0] });
  assert.equal(remote.posture.value.value.roll_deg, 5);
  run(700, { driver: ME, posture: [0, 0, 0, 0] });
  assert.equal(remote.posture.value.value.roll_deg, 0, "a stop has set it back, and that is shown");
});

test("what the hub refuses is not shown as if it were so", () => {
  const { remote, socket } = begun({ driver: ME, gait: "tripod" });
  remote.setGait("wave");
  assert.equal(remote.gait.value.value, "wave");
  socket().says({ type: "refused", to: "gait", text: "take control first" });
  assert.equal(remote.gait.value.value, "tripod");
});

test("sliders are passed on without a flood, and end on the last value", () => {
  const { remote, run, socket, since } = begun({ driver: ME });
  const mark = socket().sent.length;
  for (let mm = 0; mm <= 20; mm++) remote.carry({ height_mm: mm });
  run(400, { driver: ME });
  const heights = since(mark).filter(({ type }) => type === "posture");
  assert.ok(heights.length <= 3);
  assert.deepEqual(heights.at(-1), { type: "posture", height_mm: 20, roll_deg: 0, pitch_deg: 0, yaw_deg: 0 });
});

test("after a stop the bar lifts it: for the driver, and for anyone when nobody drives", () => {
  const { remote, socket, since } = begun({ mode: "stopped", driver: ME });
  assert.deepEqual(remote.bar.value, { does: "lift", from: "stopped", takes: false });
  let mark = socket().sent.length;
  remote.lift();
  assert.deepEqual(since(mark), [{ type: "resume" }]);
  socket().says(state({ mode: "stopped" }));
  mark = socket().sent.length;
  remote.lift();
  assert.deepEqual(since(mark), [{ type: "take" }, { type: "resume" }]);
  socket().says(state({ mode: "stopped", driver: { id: "other", name: "Kim" } }));
  mark = socket().sent.length;
  remote.lift();
  assert.deepEqual(since(mark), []);
});

test("the bar is Stop in every mode that moves or may move, and whenever the hub is away", () => {
  const { remote, socket, clock } = begun();
  for (const mode of ["rest", "moving", "playing", "waiting", "driving", "stopping"] as const) {
    socket().says(state({ mode }));
    assert.equal(remote.bar.value.does, "stop", mode);
  }
  socket().says(state({ mode: "stopped" }));
  assert.notEqual(remote.bar.value.does, "stop");
  clock.pass(1000);
  assert.equal(remote.bar.value.does, "stop");
});

test("the same notice is not stacked, at most three stay, and mild ones go by themselves", () => {
  const { remote, socket, run } = begun();
  for (const text of ["a", "b", "b", "c", "d"]) socket().says({ type: "notice", level: "info", text });
  assert.deepEqual(
    remote.notices.value.map(({ text }) => text),
    ["b", "c", "d"],
  );
  socket().says({ type: "notice", level: "error", text: "worse" });
  run(NOTICE_MS + 100, {});
  assert.deepEqual(
    remote.notices.value.map(({ text }) => text),
    ["worse"],
  );
});

test("why it was held is put away by nobody when it is over, and other trouble stays", () => {
  const { remote, socket } = begun();
  const reason = "The guard held it back: a joint was to turn too fast.";
  socket().says({ type: "notice", level: "error", text: reason.slice(0, -1) });
  socket().says({ type: "notice", level: "error", text: "no room on the disk" });
  const said = (): string[] => remote.notices.value.map(({ text }) => text);
  socket().says(state({ mode: "fault", reason }));
  socket().says(state({ mode: "fault", reason }));
  assert.equal(said().length, 2);
  socket().says(state({ mode: "rest", reason: "" }));
  assert.deepEqual(said(), ["no room on the disk"]);
});
