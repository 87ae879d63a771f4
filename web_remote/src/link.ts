/**
 * The connection to the hub: opens, says hello, notices silence, comes back by itself.
 *
 *     connecting ──welcome──▶ live ──no state for 0.7 s──▶ quiet ──state──▶ live
 *         ▲                    │ closed                      │ 3 s, or closed
 *         └──────── lost ◀─────┴─────────────────────────────┘
 *     any ──key refused──▶ unpaired   (ends here: the same key will not do better)
 *
 * A socket that stays open says little about a phone's radio: only fresh states do. So the live state
 * is what is watched, and its absence is told before anything else notices.
 */

import { decode, encode } from "@msgpack/msgpack";
import type { Clock } from "./clock.ts";
import { CloseCode, type FromBrowser, type FromHub } from "./messages.gen.ts";

/** The hub sends about 25 states a second; after this long without one, the screen is out of date. */
export const QUIET_MS = 700;
/** After this long the socket is given up. */
export const GIVE_UP_MS = 3000;
/** A connection that is not welcomed within this time is given up. */
export const WELCOME_MS = 5000;
/** Waits before trying again. The first is short: most breaks are. */
export const BACKOFF_MS = [200, 500, 1000, 2000, 4000] as const;
/** A hub that asks for patience (full, or too many tries) gets it. */
export const PATIENCE_MS = 8000;
/** More than this waiting to be sent, and a repeated command is left out: it would arrive stale. */
const BACKLOG_BYTES = 512;

export type Connection =
  | { phase: "connecting" }
  | { phase: "live" }
  | { phase: "quiet" }
  | { phase: "lost"; why: string }
  | { phase: "unpaired"; why: string };

/** The part of a WebSocket that is used. */
export interface Socket {
  binaryType: string;
  readonly bufferedAmount: number;
  onopen: ((event: never) => void) | null;
  onmessage: ((event: MessageEvent) => void) | null;
  onclose: ((event: CloseEvent) => void) | null;
  send(bytes: Uint8Array<ArrayBuffer>): void;
  close(code?: number): void;
}

export interface LinkOptions {
  open: () => Socket;
  hello: () => { key: string; name: string };
  receive: (message: FromHub) => void;
  changed: (connection: Connection) => void;
  clock: Clock;
  /** 0 to 1: spreads the returns of many phones after a hub's restart. */
  random?: () => number;
}

export class HubLink {
  #options: LinkOptions;
  #socket: Socket | null = null;
  #connection: Connection = { phase: "connecting" };
  #attempt = 0;
  #stopOwed = false;
  #refusal = "";
  #calledOff: (() => void)[] = [];

  constructor(options: LinkOptions) {
    this.#options = options;
  }

  get connection(): Connection {
    return this.#connection;
  }

  /** Whether a Stop waits for the hub to come back. */
  get stopOwed(): boolean {
    return this.#stopOwed;
  }

  /** Connects now, whatever it was waiting for. */
  start(): void {
    this.#drop();
    this.#refusal = "";
    this.#become({ phase: "connecting" });
    const socket = this.#options.open();
    socket.binaryType = "arraybuffer";
    socket.onopen = () => this.#write(socket, { type: "hello", ...this.#options.hello() });
    socket.onmessage = ({ data }) => this.#read(data);
    socket.onclose = ({ code }) => this.#closed(code);
    this.#socket = socket;
    this.#later(WELCOME_MS, () => this.#lose("The hub does not answer."));
  }

  /** Ends the connection for good. */
  end(): void {
    this.#drop();
  }

  /** Tries at once when it was only waiting to try again: the page is looked at, or the network is back. */
  hurry(): void {
    if (this.#connection.phase === "lost") {
      this.#attempt = 0;
      this.start();
    }
  }

  /**
   * Sends, if the hub is there; returns whether it did. `stale` marks what is repeated anyway and
   * worth nothing late.
   */
  send(message: FromBrowser, { stale = false } = {}): boolean {
    const { phase } = this.#connection;
    const there = phase === "live" || phase === "quiet";
    if (message.type === "stop") {
      // A Stop is never lost: what cannot be sent now, or may be going nowhere, goes first on return.
      this.#stopOwed = phase !== "live";
    }
    const socket = this.#socket;
    if (!there || !socket) return false;
    if (stale && socket.bufferedAmount > BACKLOG_BYTES) return false;
    this.#write(socket, message);
    return true;
  }

  #write(socket: Socket, message: FromBrowser): void {
    socket.send(encode(message));
  }

  #read(data: unknown): void {
    const message = understood(data);
    if (!message) return;
    if (message.type === "welcome") {
      this.#attempt = 0;
      this.#options.receive(message);
      this.#live();
    } else if (message.type === "state") {
      this.#live();
      this.#options.receive(message);
    } else {
      if (message.type === "refused" && message.to === "hello") this.#refusal = message.text;
      this.#options.receive(message);
    }
  }

  #live(): void {
    this.#callOff();
    this.#become({ phase: "live" });
    this.#later(QUIET_MS, () => {
      this.#become({ phase: "quiet" });
      this.#later(GIVE_UP_MS - QUIET_MS, () => this.#lose("The hub has gone quiet."));
    });
    if (this.#stopOwed) this.send({ type: "stop" });
  }

  #closed(code: number): void {
    if (code === CloseCode.UNPAIRED) {
      this.#drop();
      this.#become({ phase: "unpaired", why: this.#refusal || "This key is not one of this hub's." });
      return;
    }
    if (code === CloseCode.FULL) this.#lose("As many browsers are connected as the hub takes.", PATIENCE_MS);
    else if (code === CloseCode.TOO_MANY) this.#lose(this.#refusal || "The hub asks this device to wait.", PATIENCE_MS);
    else if (code === CloseCode.LEAVING) this.#lose("The hub was shut down.");
    else this.#lose("The connection to the hub broke.");
  }

  #lose(why: string, least = 0): void {
    this.#drop();
    const wait = BACKOFF_MS[Math.min(this.#attempt, BACKOFF_MS.length - 1)] ?? 0;
    this.#attempt += 1;
    const spread = 1 + 0.3 * (this.#options.random ?? Math.random)();
    this.#later(Math.max(least, wait) * spread, () => this.start());
    this.#become({ phase: "lost", why });
  }

  #become(connection: Connection): void {
    // While it tries again and again the reason stays on the screen, so that it does not flicker.
    if (connection.phase === "connecting" && this.#connection.phase === "lost") return;
    if (connection.phase === "live" && this.#connection.phase === "live") return;
    this.#connection = connection;
    this.#options.changed(connection);
  }

  #later(ms: number, callback: () => void): void {
    this.#calledOff.push(this.#options.clock.after(ms, callback));
  }

  #callOff(): void {
    for (const off of this.#calledOff) off();
    this.#calledOff = [];
  }

  #drop(): void {
    this.#callOff();
    const socket = this.#socket;
    this.#socket = null;
    if (!socket) return;
    socket.onopen = socket.onmessage = socket.onclose = null;
    socket.close();
  }
}

/** A message of the hub, or null: what cannot be read is passed over, as the next state is on its way. */
function understood(data: unknown): FromHub | null {
  if (!(data instanceof ArrayBuffer)) return null;
  try {
    const message = decode(data);
    return typeof message === "object" && message !== null && "type" in message ? (message as FromHub) : null;
  } catch {
    return null;
  }
}
