import {
  FINDING_KINDS,
  type FindingEffect,
  formatCount,
  formatDurationNs,
  type ReportExpectation,
  type ReportFinding,
  type ReportReceipt,
  type Verdict,
} from "@dyetrace/wire";

export interface Judgement {
  readonly verdict: Verdict;
  /** Why, in one sentence; one more says what to do where the reason is not a finding, which has its own advice. */
  readonly reason: string;
}

const RUN_AGAIN = "See that these agents run and stay connected, then run it again.";

const nameReceipts = (receipts: readonly ReportReceipt[]): string =>
  receipts.map(({ listener, stream }) => `${listener} (${stream})`).join(", ");

/**
 * Fail: a finding accuses, or a limit is broken. Inconclusive: something that had to be known is not. Pass: everything
 * that the scenario asks for was measured and met.
 * @param doubts what nobody can say of streams of others, as sentences
 */
export function judgeRun(
  findings: readonly ReportFinding[],
  expectations: readonly ReportExpectation[],
  receipts: readonly ReportReceipt[],
  lostAgents: readonly string[],
  isAborted: boolean,
  stopReason: string | null = null,
  stoppedBy: string | null = null,
  doubts: readonly string[] = [],
): Judgement {
  const effects = findings.map(({ kind }): FindingEffect => FINDING_KINDS[kind].effect);
  const accusing = findings.filter((_, index) => effects[index] === "fails");
  if (accusing.length > 0) {
    const [first, ...more] = accusing;
    return {
      verdict: "fail",
      reason: `${first?.title}${more.length === 0 ? "" : `, and ${more.length} more`}.`,
    };
  }
  if (isAborted) {
    const by = stoppedBy === null ? "" : `by ${stoppedBy} `;
    const why = stopReason === null ? `${by}before its end` : `for safety: ${stopReason}`;
    return { verdict: "inconclusive", reason: `The run was stopped ${why}. Run it again to its end.` };
  }
  if (lostAgents.length > 0) {
    return {
      verdict: "inconclusive",
      reason: `Without a full report: ${lostAgents.join(", ")}. ${RUN_AGAIN}`,
    };
  }
  const partial = receipts.filter(({ unknown }) => unknown !== undefined);
  if (partial.length > 0) {
    return {
      verdict: "inconclusive",
      reason: `Known in part: ${nameReceipts(partial)}. Nobody can say whether the rest came. ${RUN_AGAIN}`,
    };
  }
  const undecided = findings.find((_, index) => effects[index] === "undecided" || effects[index] === "blames-host");
  if (undecided !== undefined) return { verdict: "inconclusive", reason: `${undecided.title}.` };
  const broken = expectations.filter((expectation) => expectation.met === false);
  if (broken.length > 0) {
    const list = broken
      .map(({ what, measured, limit }) => `${what} ${measured} (${limit === "none" ? "" : "at most "}${limit})`)
      .join(", ");
    return { verdict: "fail", reason: `Expected but not met: ${list}.` };
  }
  if (doubts.length > 0) return { verdict: "inconclusive", reason: doubts.join(" ") };
  const silent = receipts.filter((receipt) => receipt.received === 0);
  if (silent.length > 0) {
    return {
      verdict: "inconclusive",
      reason: `Silent, and no segment can be named for it: ${nameReceipts(silent)}. Look whether these hosts joined and whether the source sent.`,
    };
  }
  const untold = receipts.filter((receipt) => receipt.received === null);
  if (untold.length > 0) {
    return { verdict: "inconclusive", reason: `What was received is not known: ${nameReceipts(untold)}. ${RUN_AGAIN}` };
  }
  const applying = expectations.filter(({ applies }) => applies !== false);
  const open = applying.filter((expectation) => expectation.met === null);
  if (open.length > 0) return { verdict: "inconclusive", reason: open.map(sayOpen).join(" ") };
  if (applying.length > 0)
    return { verdict: "pass", reason: "Everything that the scenario asks for was measured and met." };
  if (receipts.length === 0) {
    return {
      verdict: "inconclusive",
      reason: "Nobody joined and the scenario sets no limit, so nothing was measured. Let some agents join.",
    };
  }
  const noLimit = expectations.length > 0 ? "none of the scenario's limits applies" : "the scenario sets no limit";
  return { verdict: "pass", reason: `Nothing was found, and ${noLimit}.` };
}

/** Why an expectation is not decided, as sentences; the expectation's own detail has the figures. */
function sayOpen({ what, limit, detail, undecided }: ReportExpectation): string {
  const promise = `"${limit === "none" ? `no ${what}` : `${what} at most ${limit}`}"`;
  if (undecided === undefined) return `${promise} could not be measured. ${detail}`.trim();
  const { stream, listener, packets, neededPackets, moreSeconds } = undecided;
  if (neededPackets === null) return `${promise} is undecided: what was measured lies too near the limit.`;
  const longer = moreSeconds === null ? "" : `, ${formatDurationNs(moreSeconds * 1e9)} more`;
  const had = `${stream} at ${listener} had ${formatCount(packets)} packets`;
  return `${promise} is undecided: ${had}, and about ${formatCount(neededPackets)} decide it${longer}.`;
}
