/**
 * `refuse`: such test traffic could disturb the network or be read wrongly, so agents send it only where their host's own
 * file allows it. `warn`: the test may mislead, or clash with somebody. `note`: good to know.
 */
export type AdviceLevel = "refuse" | "warn" | "note";

export type AdviceCode =
  | "link-local-block"
  | "internetwork-control-block"
  | "local-scope"
  | "audio-range"
  | "reserved-mac"
  | "shared-mac"
  | "shared-group"
  | "ssm-without-source"
  | "source-outside-ssm"
  | "ssm-reserved"
  | "assigned-block"
  | "reserved-block"
  | "unassigned-scope"
  | "documentation"
  | "scope-too-small"
  | "scope-unassigned"
  | "flags-invalid"
  | "well-known-group"
  | "ttl-too-small";

/** One remark about the groups of a scenario. */
export interface GroupAdvice {
  readonly level: AdviceLevel;
  readonly code: AdviceCode;
  /** Names of the streams that it is about, in the order of the scenario. */
  readonly streams: readonly string[];
  readonly sentence: string;
  /** Where it is written, for example `RFC 5771 section 4`. */
  readonly reference: string;
}

/** A remark on one group, before it is known which streams use it. */
export type GroupRemark = Omit<GroupAdvice, "streams">;
