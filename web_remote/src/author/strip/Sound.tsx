import type { JSX } from "preact";
import { SOUND_PART_BYTES, SOUND_PARTS } from "../../messages.gen.ts";
import { useRemote } from "../../ui/context.ts";
import { plainName } from "../../words.ts";
import { useMaker } from "../context.ts";
import { NumberField } from "./Fields.tsx";

/** A sound to work against: which, and when it begins. */
export function Sound(): JSX.Element | null {
  const remote = useRemote();
  const maker = useMaker();
  const doc = maker.doc.value;
  if (!doc) return null;
  const { sound } = doc;
  const bring = async (file: File | undefined): Promise<void> => {
    if (!file) return;
    if (file.size > SOUND_PARTS * SOUND_PART_BYTES) {
      remote.tell("warning", `${file.name} is too long: ${Math.round((SOUND_PARTS * SOUND_PART_BYTES) / 1e6)} MB at most.`);
      return;
    }
    const name = nameOf(file.name);
    maker.exchange.keepSound(name, new Uint8Array(await file.arrayBuffer()), SOUND_PART_BYTES);
    maker.do({ do: "sound", sound: { name, at_ms: sound?.at_ms ?? 0 } });
  };
  return (
    <div class="strip-tools" role="group" aria-label="Sound">
      <label class="strip-field">
        <span>Work against</span>
        <select
          value={sound?.name ?? ""}
          onChange={(event) => {
            const name = event.currentTarget.value;
            maker.do({ do: "sound", sound: name ? { name, at_ms: sound?.at_ms ?? 0 } : null });
          }}
        >
          <option value="">no sound</option>
          {[...new Set([...maker.exchange.sounds.value, ...(sound ? [sound.name] : [])])].map((name) => (
            <option key={name} value={name}>
              {plainName(name)}
            </option>
          ))}
        </select>
      </label>
      {sound && <NumberField words="Begins at" unit="ms" value={sound.at_ms ?? 0} step={10} take={(at_ms) => maker.do({ do: "sound", sound: { ...sound, at_ms } })} />}
      <label class="strip-field">
        <span>Bring a sound file</span>
        <input type="file" accept="audio/*" onChange={(event) => void bring(event.currentTarget.files?.[0])} />
      </label>
      <p class="small">It is heard here only; the robot does not play it.</p>
    </div>
  );
}

/** A file's name as the library may call it. */
export function nameOf(file: string): string {
  const bare = file
    .replace(/\.[^.]*$/, "")
    .replace(/[^A-Za-z0-9 _-]+/g, "-")
    .replace(/^[^A-Za-z0-9]+/, "")
    .slice(0, 64)
    .trim();
  return bare || "sound";
}
