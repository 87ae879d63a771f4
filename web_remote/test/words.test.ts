import assert from "node:assert/strict";
import { test } from "node:test";
import type { Mode } from "../src/messages.gen.ts";
import { batteryWords, clockTime, frameWords, lasts, limitWords, linkWords, modeWords, outage, plainName, sentence } from "../src/words.ts";
import { minutesLeft } from "../src/bringup/words.ts";
import { state } from "./hands.ts";

test("every mode has words of its own", () => {
  const modes: Mode[] = ["rest", "moving", "playing", "waiting", "driving", "stopping", "stopped", "limp", "fault"];
  const words = modes.map((mode) => modeWords({ mode, playing: null, walking: true }));
  assert.equal(new Set(words).size, modes.length);
  assert.ok(words.every((text) => text.endsWith(".")));
});

test("times read as people say them", () => {
  assert.deepEqual([7.25, 9.96, 59.96, 60, 125].map(lasts), ["7.3 s", "10 s", "1 min", "1 min", "2 min 5 s"]);
  assert.deepEqual([0, 7.9, 65, -1].map(clockTime), ["0:00", "0:07", "1:05", "0:00"]);
});

test("names lose what stands for spaces, sentences get their stop", () => {
  assert.equal(plainName("slow_lantern-walk"), "slow lantern walk");
  assert.deepEqual(["it is stopped", "Done.", ""].map(sentence), ["It is stopped.", "Done.", ""]);
});

test("what is left of a bring-up is told roughly, and to the minute when it is nearly over", () => {
  const steps = (...minutes: number[]): { steps: { name: "look"; items: string[]; done: string[]; minutes: number }[] } => ({
    steps: minutes.map((each) => ({ name: "look", items: [], done: [], minutes: each })),
  });
  assert.deepEqual([steps(43, 25.2), steps(9.2), steps(0.2), steps(0)].map(minutesLeft), [70, 10, 1, 0]);
});

test("an outage is told apart: hub or robot", () => {
  const lost = state({ link: { ...state().link, up: false } });
  assert.equal(outage({ phase: "live" }, state()), null);
  assert.match(outage({ phase: "live" }, lost)?.title ?? "", /robot/);
  assert.match(outage({ phase: "quiet" }, state())?.title ?? "", /hub/);
  assert.match(outage({ phase: "lost", why: "It broke." }, state())?.text ?? "", /^It broke\./);
  assert.equal(linkWords({ phase: "quiet" }, state()).up, false);
  assert.equal(linkWords({ phase: "live" }, lost).up, false);
});

test("a battery that says nothing is not called good", () => {
  assert.equal(batteryWords(null).full, "Battery not read yet");
  assert.equal(batteryWords({ volts: 7.42, level: "low", minutes_left: null, words: "As the hub says" }).full, "As the hub says");
});

test("a radio that does not carry all of it is told as it is", () => {
  const { link } = state();
  const slow = linkWords({ phase: "live" }, { link: { ...link, thinned: true } });
  assert.deepEqual([slow.up, slow.thin, slow.word], [true, true, "Slow link"]);
  assert.equal(linkWords({ phase: "live" }, { link: { ...link, up: false, thinned: true } }).up, false);
  assert.equal(frameWords({ together: 1, thinned: false }), "all, one by one");
  assert.equal(frameWords({ together: 3, thinned: true }), "every second one, 3 to a packet");
});

test("every limit has words of its own, short enough to leave the card where it is", () => {
  const limits = ["reach", "speed", "margin", "acceleration", "torque", "current", "voltage", "posture", "none"] as const;
  const words = limits.map((limit) => `${modeWords({ mode: "driving", playing: null, walking: true })} ${limitWords(limit)}`);
  assert.equal(new Set(words).size, limits.length);
  for (const text of words) assert.ok(text.length <= 64, text);
  assert.equal(limitWords(""), "");
});
