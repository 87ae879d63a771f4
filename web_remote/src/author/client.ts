/**
 * A move in the making, between the screens and the hub. Screens read its signals and call `do`; what follows goes
 * to the hub, which keeps it and says what is wrong with it. Nothing waits for the hub: edits go on without it, are
 * kept in this browser, and are brought over when it is back.
 *
 *     do(action) ──▶ history ──▶ draft ──▶ hub ──▶ judged (findings, preview) and kept (on its disk)
 *                       └──▶ journal in this browser, until kept
 */

import { computed, effect, type ReadonlySignal, signal } from "@preact/signals";
import type { Clock } from "../clock.ts";
import type { Connection } from "../link.ts";
import type {
  Changed,
  Conflict,
  FindingInfo,
  FromBrowser,
  FromHub,
  Judged,
  KeptDraft,
  Opened,
  PastVersion,
  Refused,
  RemedyKind,
  RobotInfo,
  State,
  VersionInfo,
} from "../messages.gen.ts";
import { endMs, fresh, type Pose, readText, type SequenceFile, wholePose, writeText } from "./document.ts";
import { type Action, type Clip, copy, type House, keyOf, type Mark, type Sheet, sheetOf, Unable } from "./edits.ts";
import { Exchange } from "./exchange.ts";
import { begin, type History, perform, redo, settle, undo } from "./history.ts";
import type { Journal } from "./journal.ts";
import { Delivery } from "./delivery.ts";
import { Player, type NextPicture } from "./player.ts";
import { type Moment, momentAt, patched, type Preview } from "./preview.ts";

export interface MakerOptions {
  send: (message: FromBrowser) => boolean;
  connection: { readonly value: Connection };
  robot: { readonly value: RobotInfo | null };
  tell: (level: "info" | "warning" | "error", text: string) => void;
  clock: Clock;
  next: NextPicture;
  journal: Journal;
}

export class Maker {
  /** The name that it is opened, kept and saved under; empty while no move is open. */
  readonly name = signal("");
  readonly opening = signal(false);
  readonly history = signal<History | null>(null);
  readonly house = signal<House | null>(null);
  readonly selection = signal<readonly Mark[]>([]);
  readonly clip = signal<Clip>([]);
  /** Why the last action could not be done; empty when it could. */
  readonly unable = signal("");
  /** The saved version that the edits began from. */
  readonly base = signal("");
  readonly shipped = signal(false);
  readonly others = signal<readonly string[]>([]);
  readonly drafts = signal<readonly KeptDraft[]>([]);
  readonly conflict = signal<Conflict | null>(null);
  readonly changed = signal<Changed | null>(null);
  readonly versions = signal<readonly VersionInfo[] | null>(null);
  readonly past = signal<PastVersion | null>(null);
  readonly judged = signal<Judged | null>(null);
  readonly preview = signal<Preview | null>(null);
  /** The last edit that the hub has on its disk. */
  readonly keptN = signal(-1);
  readonly n = signal(0);
  readonly saving = signal(false);
  /** A mend is being worked out: the rule that it is for. */
  readonly mending = signal("");
  /** What came of the last mend, for the words beside Undo. */
  readonly mended = signal("");

  readonly sheet = computed<Sheet | null>(() => this.history.value?.now.sheet ?? null);
  readonly doc = computed<SequenceFile | null>(() => this.sheet.value?.doc ?? null);
  readonly lengthMs = computed(() => (this.doc.value ? endMs(this.doc.value) : 0));
  readonly canUndo = computed(() => (this.history.value?.past.length ?? 0) > 0);
  readonly canRedo = computed(() => (this.history.value?.future.length ?? 0) > 0);
  /** Whether there is something that is not saved. */
  readonly dirty = computed(() => this.sheet.value !== this.#saved.value);
  /** The verdict is of an older edit than the one on the screen, or only on the stretch that was edited. */
  readonly stale = computed(() => (this.judged.value?.n ?? -1) < this.n.value || (this.judged.value?.partly ?? false));
  /** Everything on the screen is on the hub's disk as a draft. */
  readonly safe = computed(() => this.keptN.value >= this.n.value);
  /** Nothing can be mended now: what is wrong is not known, or something is being mended. */
  readonly mendless = computed(() => this.stale.value || this.mending.value !== "");
  /** The verdict, but while a hand drags something as it was before: a long list need not keep up with a hand. */
  readonly listed: ReadonlySignal<Judged | null>;
  readonly player: Player;
  readonly exchange: Exchange;
  /** The moment of the preview at the player's time. */
  readonly moment = computed<Moment | null>(() => {
    const [preview, house] = [this.preview.value, this.house.value];
    return preview && house ? momentAt(preview, this.player.at.value, house.robot.legs.length) : null;
  });

  readonly #saved = signal<Sheet | null>(null);
  readonly #options: MakerOptions;
  readonly #delivery: Delivery;
  #gesture: string | null = null;
  #previewN = -1;
  #mendFrom = -1;
  #ends: (() => void)[] = [];

  constructor(options: MakerOptions) {
    this.#options = options;
    this.player = new Player(options.clock, options.next, () => this.lengthMs.value);
    this.exchange = new Exchange(options.send, () => (this.doc.value ? { name: this.name.value, text: writeText(this.doc.value) } : null));
    this.#delivery = new Delivery(options, () => {
      const doc = this.doc.value;
      if (!doc || this.opening.value) return null;
      return { name: this.name.value, base: this.base.value, n: this.n.value, kept: this.keptN.value, doc, held: this.#gesture !== null };
    });
    let listed: Judged | null = null;
    this.listed = computed(() => {
      const judged = this.judged.value;
      if (!judged || (this.history.value?.now.gesture ?? null) === null) listed = judged;
      return listed;
    });
    this.#ends.push(
      effect(() => {
        if (options.connection.value.phase === "live") this.#back();
        else if (options.connection.value.phase !== "quiet") this.#gone();
      }),
    );
  }

  end(): void {
    this.player.pause();
    for (const end of this.#ends) end();
  }

  // ---------------------------------------------------------------- opening and closing

  /** Opens a move of the library, or begins one of that name. */
  open(name: string): void {
    if (this.name.value) this.close();
    this.name.value = name;
    this.opening.value = true;
    this.#options.send({ type: "open_move", name, hand: this.#options.journal.hand });
  }

  close(): void {
    this.#delivery.note();
    if (this.name.value) this.#options.send({ type: "close_move", name: this.name.value });
    this.player.pause();
    this.name.value = "";
    this.opening.value = false;
    this.history.value = null;
    this.judged.value = null;
    this.preview.value = null;
    this.conflict.value = this.changed.value = this.versions.value = this.past.value = null;
    this.selection.value = [];
    this.others.value = [];
    this.mending.value = this.mended.value = this.unable.value = "";
    this.#forget();
  }

  #forget(): void {
    this.#delivery.forget();
    this.#previewN = -1;
  }

  #gone(): void {
    this.#forget();
    this.saving.value = false;
    this.mending.value = "";
    this.exchange.gone();
  }

  /** The hub is there again: what it missed is brought over. */
  #back(): void {
    const name = this.name.peek();
    if (name) this.#options.send({ type: "open_move", name, hand: this.#options.journal.hand });
  }

  #opened(message: Opened): void {
    const robot = this.#options.robot.value;
    if (message.name !== this.name.value || !robot) return;
    this.opening.value = false;
    this.house.value = { robot, maker: message.maker, poses: JSON.parse(message.poses) as Record<string, Pose> };
    this.others.value = message.others;
    this.exchange.sounds.value = message.sounds;
    this.exchange.soundPath.value = message.sound_path;
    this.shipped.value = message.shipped;
    const { hand } = this.#options.journal;
    this.drafts.value = message.drafts.filter((draft) => draft.hand !== hand);
    this.#forget();
    if (this.history.value) {
      // It was open before the connection broke: what is on the screen stays, and goes to the hub.
      if (message.version !== this.base.value) {
        this.changed.value = { type: "changed", name: message.name, version: message.version, words: `${message.name} has been saved elsewhere meanwhile` };
      }
      this.#delivery.owed = this.n.value > this.keptN.value;
    } else {
      this.#begin(message, message.drafts.find((draft) => draft.hand === hand) ?? null);
    }
    this.#delivery.go();
  }

  #begin(message: Opened, draft: KeptDraft | null): void {
    const saved = sheetOf(message.text ? readText(message.text) : fresh(message.name));
    this.base.value = message.version;
    this.#saved.value = message.text ? saved : null;
    this.history.value = begin(saved);
    this.n.value = 0;
    this.keptN.value = 0;
    this.#delivery.owed = false;
    const entry = this.#options.journal.read(message.name);
    const own = entry && (!draft || entry.n >= draft.n) ? { ...entry, made: "" } : draft;
    if (!own) return;
    try {
      const text = own.text;
      this.history.value = perform(begin(saved), { do: "become", doc: readText(text), why: "draft" }, this.#house());
      this.n.value = own.n;
      this.keptN.value = draft && draft.n >= own.n ? own.n : -1;
      this.base.value = own.base;
      this.#delivery.owed = this.keptN.value < own.n;
      if (own.base !== message.version) {
        this.changed.value = { type: "changed", name: message.name, version: message.version, words: `${message.name} has been saved since these edits began` };
      }
    } catch {
      // What is no document any more is left where it is; what is saved is shown.
    }
  }

  #house(): House {
    const house = this.house.value;
    if (!house) throw new Unable("The hub has not told yet what this robot can do.");
    return house;
  }

  // ---------------------------------------------------------------- editing

  /**
   * Does something to the move. Actions of one `gesture` (a drag, a slider) are one step for Undo, each in place of
   * the one before; call `settle` when the hand lets go. Returns whether it could be done; if not, `unable` says why.
   */
  do(action: Action, gesture: string | null = null): boolean {
    const history = this.history.value;
    if (!history) return false;
    this.unable.value = "";
    try {
      const next = perform(history, action, this.#house(), gesture);
      this.#gesture = gesture;
      if (next === history) return true;
      this.history.value = next;
    } catch (error) {
      if (!(error instanceof Unable)) throw error;
      this.unable.value = error.message;
      return false;
    }
    this.#edited(gesture === null);
    return true;
  }

  /** The page may be gone in a moment: what the hub does not have is written down in this browser now. */
  note(): void {
    this.#delivery.note();
  }

  settle(): void {
    const history = this.history.value;
    if (!history || this.#gesture === null) return;
    this.#gesture = null;
    this.history.value = settle(history);
    this.#delivery.owed = true;
    this.#delivery.go();
  }

  undo(): void {
    if (this.history.value && this.canUndo.value) {
      this.history.value = undo(this.history.value);
      this.#edited(true);
    }
  }

  redo(): void {
    if (this.history.value && this.canRedo.value) {
      this.history.value = redo(this.history.value);
      this.#edited(true);
    }
  }

  copy(marks: readonly Mark[] = this.selection.value): void {
    const sheet = this.sheet.value;
    if (sheet && marks.length > 0) this.clip.value = copy(sheet, marks, this.#house());
  }

  /** All that a keyframe keys, with what its named pose gives. */
  poseOf(key: number): Pose | null {
    const [sheet, house] = [this.sheet.value, this.house.value];
    const own = sheet && keyOf(sheet, key);
    return sheet && house && own ? wholePose(sheet.doc, own, house.poses) : null;
  }

  #edited(whole: boolean): void {
    this.n.value += 1;
    this.mended.value = "";
    if (whole) this.#delivery.owed = true;
    if (this.player.at.value > this.lengthMs.value) this.player.seek(this.lengthMs.value);
    this.#delivery.edited();
  }

  // ---------------------------------------------------------------- asking the hub

  save(): void {
    const doc = this.doc.value;
    if (!doc) return;
    this.saving.value = true;
    this.#savedAs = this.sheet.value;
    const { hand } = this.#options.journal;
    const sent = this.#options.send({ type: "save_move", name: this.name.value, hand, base: this.base.value, text: writeText(doc) });
    if (!sent) {
      this.saving.value = false;
      this.#options.tell("warning", "The hub is out of reach. The edits are kept here and are brought over when it is back.");
    }
  }

  #savedAs: Sheet | null = null;

  /** After a conflict: what is here goes over what the other saved, which stays in the history. */
  keepMine(): void {
    const conflict = this.conflict.value;
    if (!conflict) return;
    this.base.value = conflict.version;
    this.conflict.value = null;
    this.save();
  }

  /** After a conflict: what the other saved is taken over; Undo brings one's own back. */
  takeTheirs(): void {
    const conflict = this.conflict.value;
    if (!conflict?.text) return;
    this.base.value = conflict.version;
    this.conflict.value = null;
    this.do({ do: "become", doc: readText(conflict.text), why: "theirs" });
  }

  /** Presses a finding's remedy; what comes of it is one step that can be undone. */
  mend(finding: FindingInfo, remedy: RemedyKind): void {
    const doc = this.doc.value;
    if (!doc) return;
    const { rule, subject, start_s } = finding;
    this.mending.value = rule;
    this.#mendFrom = this.n.value;
    const sent = this.#options.send({ type: "mend", name: this.name.value, n: this.n.value, text: writeText(doc), rule, subject, start_s, remedy });
    if (!sent) this.mending.value = "";
  }

  /** Leaves out keys that are not needed to stay within an error. */
  thin(error_deg: number): void {
    const doc = this.doc.value;
    if (!doc) return;
    this.mending.value = "thin";
    this.#mendFrom = this.n.value;
    if (!this.#options.send({ type: "thin", name: this.name.value, n: this.n.value, text: writeText(doc), error_deg })) this.mending.value = "";
  }

  /** Plays what is on the screen on the robot, slowly; the hub refuses whoever does not hold control. */
  rehearse(share: number): void {
    const doc = this.doc.value;
    if (doc) this.#options.send({ type: "rehearse", name: this.name.value, text: writeText(doc), share });
  }

  listVersions(): void {
    this.#options.send({ type: "list_versions", name: this.name.value });
  }

  lookBack(id: string): void {
    this.#options.send({ type: "look_back", name: this.name.value, id });
  }

  savePose(name: string, pose: Pose): void {
    const text = JSON.stringify({ format: "motionhub-pose/1", name, ...pose });
    if (this.#options.send({ type: "save_pose", name, text }) && this.house.value) {
      this.house.value = { ...this.house.value, poses: { ...this.house.value.poses, [name]: pose } };
    }
  }

  // ---------------------------------------------------------------- what the hub says

  /** Whether a message was one of these. */
  receive(message: FromHub): boolean {
    switch (message.type) {
      case "opened":
        this.#opened(message);
        return true;
      case "editing":
        if (message.name === this.name.value) this.others.value = message.others;
        return true;
      case "kept":
        if (message.name === this.name.value) {
          this.keptN.value = Math.max(this.keptN.value, message.n);
          if (this.keptN.value >= this.n.value) this.#options.journal.clear(this.name.value);
        }
        return true;
      case "judged":
        this.#judge(message);
        return true;
      case "saved":
        this.#saveDone(message.name, message.version);
        return true;
      case "conflict":
        this.saving.value = false;
        if (message.name === this.name.value) this.conflict.value = message;
        return true;
      case "changed":
        if (message.name === this.name.value && message.version !== this.base.value) this.changed.value = message;
        return true;
      case "version_list":
        this.versions.value = message.items;
        return true;
      case "past_version":
        this.past.value = message;
        return true;
      case "mended":
        this.#mend(message.n, message.text, message.words, message.left);
        return true;
      case "refused":
        this.#refused(message);
        return false;
      default:
        return this.exchange.receive(message);
    }
  }

  #judge(message: Judged): void {
    if (message.name !== this.name.value) return;
    const before = this.judged.value;
    if (before?.advising && before.n === message.n && !message.preview) {
      // The same verdict, now with what would mend it.
      this.judged.value = message;
      return;
    }
    if (message.preview) {
      const made = patched(message.preview, message.preview.since === this.#previewN ? this.preview.value : null);
      if (made) {
        this.preview.value = made;
        this.#previewN = message.n;
      } else {
        // Something was missed in between: all of it, please.
        this.#delivery.whole();
        this.#delivery.again();
      }
    } else this.#delivery.whole();
    if (message.n >= (this.judged.value?.n ?? -1)) this.judged.value = message;
    this.#delivery.answered(message.n);
  }

  #saveDone(name: string, version: string): void {
    this.saving.value = false;
    if (name !== this.name.value) return;
    this.base.value = version;
    this.#saved.value = this.#savedAs;
    this.shipped.value = false;
    this.changed.value = this.conflict.value = null;
    this.#options.journal.clear(name);
    // What was done while it was being saved is a draft on top of it.
    if (this.sheet.value !== this.#savedAs) {
      this.#delivery.owed = true;
      this.#delivery.again();
      this.#delivery.go();
    } else this.keptN.value = this.n.value;
  }

  #mend(n: number, text: string, words: string, left: boolean): void {
    this.mending.value = "";
    if (n !== this.#mendFrom || n !== this.n.value) {
      this.#options.tell("info", "That was worked out for an earlier edit; press it again.");
      return;
    }
    if (this.do({ do: "become", doc: readText(text), why: "mended" })) this.mended.value = left ? `${words}, which helps but does not mend it` : words;
  }

  /** A refusal is told by whoever receives it first; here only what waits for an answer is let go. */
  #refused(refused: Refused): void {
    const { to } = refused;
    if (to === "draft" || to === "") this.#delivery.landed();
    if (to === "save_move") this.saving.value = false;
    if (to === "mend" || to === "thin") this.mending.value = "";
    if (to === "open_move") {
      this.opening.value = false;
      if (!this.history.value) this.name.value = "";
    }
    this.exchange.refused(refused);
  }

  /** The preview's moment as the stage shows the live robot: for drawing, the rest is taken from `live`. */
  figure(live: State): State | null {
    const moment = this.moment.value;
    if (!moment) return null;
    const { joints_deg, body, com_mm, down, outputs, margin_mm } = moment;
    return { ...live, joints_deg, body, com_mm, down, outputs, margin_mm };
  }
}
