import { Fault } from "@dyetrace/wire";

/** The store is full, away, locked or broken: known trouble, which passes or has to be mended. */
export const isOfStore = (fault: unknown): boolean => fault instanceof Fault;

/**
 * A value that the store never takes: SQLSTATE class 22, data exception (PostgreSQL's appendix A), and SQLite's codes for
 * the same (sqlite.org/rescode.html).
 */
export function isOfReport(error: unknown): boolean {
  const { code } = error as { readonly code?: unknown };
  return typeof code === "string" && /^(22...|SQLITE_(MISMATCH|TOOBIG|RANGE))$/.test(code);
}
