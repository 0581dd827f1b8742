import type { SharedCause } from "@dyetrace/locate";
import { TOGETHER_NS } from "./together.ts";

/** A place that explains losses, with when they were. */
export interface TimedCause {
  readonly cause: SharedCause;
  readonly fromNs: number;
  readonly toNs: number;
}

/**
 * One place that loses all of one stream and some of another: of the second alone a reverse way is no suspect, as a lost report
 * costs whole stretches. Both are told with what can explain the first.
 */
export function widest(one: TimedCause, causes: readonly TimedCause[]): TimedCause {
  const isWider = (other: TimedCause): boolean =>
    other.cause.suspects.length > one.cause.suspects.length &&
    one.cause.suspects.every((suspect) => other.cause.suspects.includes(suspect)) &&
    other.cause.hosts.length === one.cause.hosts.length &&
    one.cause.hosts.every((host) => other.cause.hosts.includes(host)) &&
    other.fromNs <= one.toNs + TOGETHER_NS &&
    one.fromNs <= other.toNs + TOGETHER_NS;
  const wider = causes.find(isWider);
  if (wider === undefined) return one;
  const { suspects, confidence } = wider.cause;
  return { ...one, cause: { ...one.cause, suspects, confidence: Math.min(confidence, one.cause.confidence) } };
}
