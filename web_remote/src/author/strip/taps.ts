/** A tempo from a hand that taps it. Times in ms. */

/** After so long without a tap a new tempo begins: slower than the slowest that a move may have. */
const FORGOTTEN_MS = 3000;
const MOST = 9;

export class Taps {
  #times: number[] = [];

  /** Beats a minute after this tap, to a tenth: from the third on, the middle one of the last intervals. */
  tap(now: number): number | null {
    const last = this.#times.at(-1);
    if (last !== undefined && now - last > FORGOTTEN_MS) this.#times = [];
    this.#times = [...this.#times, now].slice(-MOST);
    if (this.#times.length < 3) return null;
    const gaps = this.#times.slice(1).map((time, i) => time - (this.#times[i] as number)).sort((a, b) => a - b);
    const half = gaps.length >> 1;
    const middle = gaps.length % 2 ? (gaps[half] as number) : ((gaps[half - 1] as number) + (gaps[half] as number)) / 2;
    return Math.round((60_000 / Math.max(middle, 1)) * 10) / 10;
  }
}
