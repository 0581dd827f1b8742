import { lastErrno, libc, SystemCallError } from "./libc.ts";

const TIMEX_BYTES = 208; // struct timex on 64-bit (linux/timex.h)
const MAXERROR_AT = 24;
const STATUS_AT = 40;
const STA_UNSYNC = 0x40; // linux/timex.h

export interface ClockQuality {
  /** A time service steers the clock, by what the kernel was told. */
  readonly isSteered: boolean;
  /** Largest error of the wall clock that the time service admits, ns; of no meaning while not steered. */
  readonly mostErrorNs: number;
}

/** Asks the kernel how good its wall clock is; changes nothing (modes = 0). @throws {SystemCallError} */
export function readClockQuality(): ClockQuality {
  const timex = new ArrayBuffer(TIMEX_BYTES);
  if (libc().adjtimex(timex) < 0) throw new SystemCallError("adjtimex", lastErrno());
  const view = new DataView(timex);
  return {
    isSteered: (view.getInt32(STATUS_AT, true) & STA_UNSYNC) === 0,
    mostErrorNs: Number(view.getBigInt64(MAXERROR_AT, true)) * 1000,
  };
}
