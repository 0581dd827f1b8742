import { Fault } from "../fault.ts";
import { parseDurationNs, shown } from "../units.ts";

/** RFC 3376, section 8.4, with the defaults of 8.1 to 8.3: 2 x 125 s + 10 s. */
export const STANDARD_MEMBERSHIP_INTERVAL_NS = 260e9;

const INTERVAL = /^membership-interval(?:\s*\+\s*(.+))?$/;
/** Far above any; the pattern goes over long runs of spaces more than once. */
const MOST_CHARACTERS = 128;

export const namesMembershipInterval = (text: string): boolean => text.startsWith("membership-interval");

/**
 * A time in a scenario: a duration such as `30s`, or `membership-interval`, which stands for the group membership
 * interval of the site under test, or `membership-interval + 15s`.
 * @throws {Fault} UNIT_INVALID
 */
export function parseScenarioDurationNs(text: string, membershipIntervalNs: number): number {
  if (!namesMembershipInterval(text)) return parseDurationNs(text);
  const match = text.length > MOST_CHARACTERS ? null : INTERVAL.exec(text.trim());
  if (match === null) {
    throw new Fault(
      "UNIT_INVALID",
      `"${shown(text)}" is not a duration`,
      "Write, for example, membership-interval + 15s",
    );
  }
  return membershipIntervalNs + (match[1] === undefined ? 0 : parseDurationNs(match[1]));
}
