/** @returns ns on the monotonic clock: CLOCK_MONOTONIC on Linux, its counterpart elsewhere */
export const monotonicNs = (): number => Number(process.hrtime.bigint());

/** @returns a monotonic instant on the wall clock, ns since 1970, to the millisecond that the run-time tells */
export const wallOfMonotonic = (atNs: number): bigint =>
  BigInt(Date.now()) * 1_000_000n + BigInt(Math.round(atNs - monotonicNs()));
