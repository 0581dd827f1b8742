/**
 * `good`: nothing in the way. `know`: worth knowing. `spoils`: a test on this host would mislead or fail. `unknown`: this
 * host does not show it to us.
 */
export type CheckStatus = "good" | "know" | "spoils" | "unknown";

export interface CheckResult {
  readonly name: string;
  readonly status: CheckStatus;
  /** One sentence: what was found. */
  readonly finding: string;
  /** The command or step that mends it; null where there is nothing to mend. */
  readonly mend: string | null;
}

export const good = (name: string, finding: string): CheckResult => ({ name, status: "good", finding, mend: null });
export const know = (name: string, finding: string, mend: string | null = null): CheckResult => ({
  name,
  status: "know",
  finding,
  mend,
});
export const spoils = (name: string, finding: string, mend: string): CheckResult => ({
  name,
  status: "spoils",
  finding,
  mend,
});
export const unknown = (name: string, finding: string): CheckResult => ({
  name,
  status: "unknown",
  finding,
  mend: null,
});
