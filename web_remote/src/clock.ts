/** Time as the remote's own parts see it, so that tests can move it by hand. Milliseconds. */
export interface Clock {
  now(): number;
  /** Calls back once, later; returns how to call it off. */
  after(ms: number, callback: () => void): () => void;
}

export const browserClock: Clock = {
  now: () => performance.now(),
  after(ms, callback) {
    const timer = setTimeout(callback, ms);
    return () => clearTimeout(timer);
  },
};
