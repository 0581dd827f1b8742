import type { EnrolledAgent } from "@dyetrace/wire/console/console-agent";
import { formatDay } from "../parts/format.ts";

/** When an agent's credential ends, and what becomes of it before that. @param enrolled null: it has none of its own; undefined: unknown */
export function credentialWords(enrolled: EnrolledAgent | null | undefined): string {
  if (enrolled === undefined) return "unknown";
  if (enrolled === null) return "the key that is the same for all";
  const { until, hasEnded, isRenewalDue, trouble } = enrolled;
  if (until === null) return "without an end, of an earlier version: an agent of this version exchanges it";
  if (hasEnded) return `ended ${formatDay(until)}: enrol it again`;
  const ends = `ends ${formatDay(until)}`;
  if (trouble !== null) return `${ends}; it could not keep another one: ${trouble}`;
  return isRenewalDue ? `${ends}; the next one is due` : `${ends}, exchanged before that`;
}
