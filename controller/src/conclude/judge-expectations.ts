import { formatDurationNs, type ReportExpectation, type ReportReceipt, type ScenarioExpectation } from "@dyetrace/wire";
import { judgeShares, type PacketRate } from "./judge-shares.ts";

interface Rule {
  readonly what: string;
  readonly limit: number;
  readonly measure: (receipt: ReportReceipt) => number | null;
  /** False: this listener has nothing to measure here, and the limit does not concern it. By default true. */
  readonly concerns?: (receipt: ReportReceipt) => boolean;
}

/** Whether a listener has a join or a leave whose delay can be told at all. */
export type HasDelay = (receipt: ReportReceipt, what: "join" | "leave") => boolean;

/**
 * Holds each limit of the scenario against the worst receipt. A receipt that says nothing leaves the limit unknown,
 * unless another one already breaks it.
 */
export function judgeExpectations(
  expect: ScenarioExpectation,
  receipts: readonly ReportReceipt[],
  hasDelay: HasDelay = () => true,
  rateOf: PacketRate = () => null,
): ReportExpectation[] {
  const shares = judgeShares(expect, receipts, rateOf).map((share) => withWarmUp(share, expect, receipts));
  const times = rulesOf(expect, hasDelay).map(({ concerns = () => true, ...rule }) =>
    judge(rule, receipts.filter(concerns)),
  );
  return [...shares, ...times];
}

function withWarmUp(
  share: ReportExpectation,
  { warmUpNs }: ScenarioExpectation,
  receipts: readonly ReportReceipt[],
): ReportExpectation {
  if (share.what !== "loss" || warmUpNs === undefined) return share;
  const lost = receipts.reduce((sum, { warmUpLost }) => sum + (warmUpLost ?? 0), 0);
  const aside = `Not counted: ${lost} lost in the first ${formatDurationNs(warmUpNs)} of a stream or a stay.`;
  return { ...share, detail: `${share.detail} ${aside}`.trim() };
}

function rulesOf(expect: ScenarioExpectation, hasDelay: HasDelay): Rule[] {
  const rules: Rule[] = [];
  const add = (limit: number | null, rule: Omit<Rule, "limit">): void => {
    if (limit !== null) rules.push({ ...rule, limit });
  };
  const inMs = (limitNs: number | null): number | null => (limitNs === null ? null : limitNs / 1e6);
  add(inMs(expect.longestGapNs), {
    what: "longest gap",
    measure: (r) => r.longestGapMs,
  });
  add(inMs(expect.jitterNs), {
    what: "jitter",
    measure: (r) => r.jitterMs,
  });
  add(inMs(expect.joinDelayNs), {
    what: "join delay",
    measure: (r) => r.joinDelays?.p95Ms ?? null,
    concerns: (r) => hasDelay(r, "join"),
  });
  add(inMs(expect.leaveDelayNs), {
    what: "leave delay",
    measure: (r) => r.leaveDelays?.p95Ms ?? null,
    concerns: (r) => hasDelay(r, "leave"),
  });
  return rules;
}

const format = (ms: number): string => (ms === 0 ? "0" : formatDurationNs(ms * 1e6));

function judge({ what, limit, measure }: Rule, receipts: readonly ReportReceipt[]): ReportExpectation {
  const measured = receipts.map((receipt) => ({
    receipt,
    value: measure(receipt),
  }));
  const known = measured.flatMap(({ receipt, value }) => (value === null ? [] : [{ receipt, value }]));
  const unknown = measured.length - known.length;
  const worst = known.reduce<(typeof known)[number] | null>((a, b) => (a === null || b.value > a.value ? b : a), null);
  const isBroken = worst !== null && worst.value > limit;
  const isKnown = worst !== null && unknown === 0;
  const where = worst === null ? "" : `Worst: ${worst.receipt.stream} at ${worst.receipt.listener}. `;
  const rest = unknown === 0 ? "" : `Not known for ${unknown} of ${measured.length} receipts.`;
  return {
    what,
    limit: format(limit),
    measured: worst === null ? null : format(worst.value),
    met: isBroken ? false : isKnown ? true : null,
    detail: `${where}${rest}`.trim(),
  };
}
