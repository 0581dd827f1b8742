import { libc } from "./libc.ts";

const CLOCK_REALTIME = 0; // linux/time.h
const CLOCK_MONOTONIC = 1; // linux/time.h
const TIMER_ABSTIME = 1; // linux/time.h

/** A difference this large between two looks is a step of the wall clock, not its drift. */
export const CLOCK_STEP_NS = 1e6;

/**
 * The kernel's clocks, read into buffers made once. Numbers are exact below 2^53: monotonic time for 104 days of
 * uptime, then to 2 ns.
 */
export class KernelClock {
  readonly #libc = libc();
  readonly #time = new ArrayBuffer(16);
  readonly #view = new DataView(this.#time);
  readonly #wake = new ArrayBuffer(16);
  readonly #wakeView = new DataView(this.#wake);
  #anchorNs = 0;
  #anchorSeconds = 0;
  #anchorNanoseconds = 0;

  /** Hot path. @returns ns on CLOCK_MONOTONIC */
  now(): number {
    this.#libc.clock_gettime(CLOCK_MONOTONIC, this.#time);
    return this.#view.getUint32(0, true) * 1e9 + this.#view.getUint32(8, true);
  }

  /**
   * Hot path: reads both clocks as near to each other as two calls can be, for `toMonotonic`.
   * @returns how far the wall clock has stepped against the monotonic one since the last call, ns; 0 the first time
   */
  pair(): number {
    const nowNs = this.now();
    this.#libc.clock_gettime(CLOCK_REALTIME, this.#time);
    const seconds = this.#view.getUint32(0, true);
    const nanoseconds = this.#view.getUint32(8, true);
    const steppedNs =
      this.#anchorSeconds === 0
        ? 0
        : (seconds - this.#anchorSeconds) * 1e9 + (nanoseconds - this.#anchorNanoseconds) - (nowNs - this.#anchorNs);
    this.#anchorNs = nowNs;
    this.#anchorSeconds = seconds;
    this.#anchorNanoseconds = nanoseconds;
    return steppedNs;
  }

  /** Monotonic time of the last `pair`, ns. */
  get pairedNs(): number {
    return this.#anchorNs;
  }

  /** Hot path: a wall-clock instant near the last `pair` on the monotonic clock, ns. */
  toMonotonic(seconds: number, nanoseconds: number): number {
    return this.#anchorNs + (seconds - this.#anchorSeconds) * 1e9 + (nanoseconds - this.#anchorNanoseconds);
  }

  /** Wall-clock time of a monotonic instant by the last `pair`, ns since 1970. */
  toWall(monotonicNs: number): bigint {
    const wallNs = BigInt(this.#anchorSeconds) * 1_000_000_000n + BigInt(this.#anchorNanoseconds);
    return wallNs + BigInt(Math.round(monotonicNs - this.#anchorNs));
  }

  /** Blocks this thread until the monotonic clock shows `untilNs`; a signal may cut it short. */
  sleepUntil(untilNs: number): void {
    const seconds = Math.floor(untilNs / 1e9);
    this.#wakeView.setUint32(0, seconds, true);
    this.#wakeView.setUint32(8, untilNs - seconds * 1e9, true);
    this.#libc.clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, this.#wake, null);
  }
}
