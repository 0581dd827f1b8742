import type { Verdict } from "@dyetrace/wire";

/** What a script can rely on. */
export const EXIT: Readonly<Record<Verdict, number>> = {
  pass: 0,
  fail: 1,
  "could-not-run": 2,
  inconclusive: 3,
};
export const EXIT_USAGE = 2;
