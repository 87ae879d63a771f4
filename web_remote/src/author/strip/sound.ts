/**
 * A sound in step with the preview. The player's time leads; the sound begins anew wherever it has come apart from it, so
 * that it follows seeking, looping and holding without being told.
 */

import { effect } from "@preact/signals";
import type { Maker } from "../client.ts";
import type { StripState } from "./state.ts";

/** Further apart than this a beat is heard beside its movement (ITU-R BT.1359-1: from 45 ms on it is noticed). */
const APART_MS = 45;
/** The picture of the loudness has one value for so long. */
export const GRAIN_MS = 10;

/** The loudest of each hundredth of a second, 0 to 1. */
export function loudnessOf(channels: readonly Float32Array[], rate_hz: number): Float32Array {
  const grain = Math.max(1, Math.round((rate_hz * GRAIN_MS) / 1000));
  const length = Math.max(0, ...channels.map((each) => each.length));
  const found = new Float32Array(Math.ceil(length / grain));
  for (const samples of channels) {
    for (let i = 0; i < samples.length; i++) {
      const at = Math.floor(i / grain);
      const loud = Math.abs(samples[i] as number);
      if (loud > (found[at] as number)) found[at] = Math.min(1, loud);
    }
  }
  return found;
}

/** Where a sound has to be, in seconds from its beginning, when the move is at `at`; null where it is not heard. */
export function placeIn(at: number, begins: number, lasts_s: number): number | null {
  const place = (at - begins) / 1000;
  return place >= 0 && place < lasts_s ? place : null;
}

/** Keeps the sound of the move in step until the returned function is called. */
export function accompany(maker: Maker, strip: StripState, tell: (words: string) => void): () => void {
  let context: AudioContext | null = null;
  let buffer: AudioBuffer | null = null;
  let source: AudioBufferSourceNode | null = null;
  let [from, since, rate] = [0, 0, 1];
  let loading = "";

  const hush = (): void => {
    source?.stop();
    source = null;
  };

  const load = async (name: string, path: string): Promise<void> => {
    loading = name;
    buffer = null;
    strip.loudness.value = null;
    hush();
    try {
      const answer = await fetch(`${path}/${encodeURIComponent(name)}`);
      if (!answer.ok) throw new Error(String(answer.status));
      context ??= new AudioContext();
      const decoded = await context.decodeAudioData(await answer.arrayBuffer());
      if (loading !== name) return;
      buffer = decoded;
      strip.loudness.value = loudnessOf(Array.from({ length: decoded.numberOfChannels }, (_, i) => decoded.getChannelData(i)), decoded.sampleRate);
    } catch {
      if (loading === name) tell(`This browser cannot read the sound ${name}.`);
    }
  };

  const ends = [
    effect(() => {
      const name = maker.doc.value?.sound?.name ?? "";
      const path = maker.exchange.soundPath.value;
      if (name === loading) return;
      if (name && path && maker.exchange.sounds.value.includes(name)) void load(name, path);
      else {
        loading = "";
        buffer = null;
        strip.loudness.value = null;
        hush();
      }
    }),
    effect(() => {
      const begins = maker.doc.value?.sound?.at_ms ?? 0;
      const [at, playing, speed] = [maker.player.at.value, maker.player.playing.value, maker.player.speed.value];
      void strip.loudness.value;
      if (!buffer || !context || !playing) return hush();
      const place = placeIn(at, begins, buffer.duration);
      if (place === null) return hush();
      if (context.state === "suspended") void context.resume();
      const heard = from + (context.currentTime - since) * rate;
      if (source && rate === speed && Math.abs(heard - place) * 1000 < APART_MS) return;
      hush();
      source = context.createBufferSource();
      source.buffer = buffer;
      source.playbackRate.value = speed;
      source.connect(context.destination);
      source.start(0, place);
      [from, since, rate] = [place, context.currentTime, speed];
    }),
  ];
  return () => {
    for (const end of ends) end();
    hush();
    void context?.close();
  };
}
