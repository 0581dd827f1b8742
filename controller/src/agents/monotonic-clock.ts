/** This process's CLOCK_MONOTONIC in ns: exact as a number for 104 days after boot. */
export const monotonicNs = (): number => Number(process.hrtime.bigint());
