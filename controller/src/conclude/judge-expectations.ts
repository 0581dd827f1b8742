import {
  formatCount,
  formatDurationNs,
  type ReportExpectation,
  type ReportReceipt,
  type ScenarioExpectation,
} from "@dyetrace/wire";
import { judgeShares, type PacketRate } from "./judge-shares.ts";
import { sayUnknown, whyUnknown } from "./unknown-receipts.ts";

interface Rule {
  readonly what: string;
  readonly limit: number;
  readonly measure: (receipt: ReportReceipt) => number | null;
  /** What it surely is where it lasted to the end: more may be true. By default never known. */
  readonly atLeast?: (receipt: ReportReceipt) => number | null;
  /** False: this listener has nothing to measure here, and the limit does not concern it. By default true. */
  readonly concerns?: (receipt: ReportReceipt) => boolean;
  /** Why it concerns none, where that is so. */
  readonly unconcerned?: string;
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
  const times = rulesOf(expect, hasDelay).map(({ concerns = () => true, unconcerned, ...rule }) => {
    const concerned = receipts.filter(concerns);
    const isNone = unconcerned !== undefined && receipts.length > 0 && concerned.length === 0;
    return isNone ? notApplying(rule, unconcerned) : judge(rule, concerned);
  });
  return [...shares, ...times];
}

function withWarmUp(
  share: ReportExpectation,
  { warmUpNs }: ScenarioExpectation,
  receipts: readonly ReportReceipt[],
): ReportExpectation {
  if (share.what !== "loss" || warmUpNs === undefined) return share;
  const lost = receipts.reduce((sum, { warmUpLost }) => sum + (warmUpLost ?? 0), 0);
  const aside = `Not counted: ${formatCount(lost)} lost in the first ${formatDurationNs(warmUpNs)} of a stream or a stay.`;
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
    unconcerned: "whoever joined did so before the stream began, or where it came already",
  });
  add(inMs(expect.leaveDelayNs), {
    what: "leave delay",
    measure: (r) => r.leaveDelays?.p95Ms ?? null,
    atLeast: (r) => r.leaveDelayAtLeastMs ?? null,
    concerns: (r) => hasDelay(r, "leave"),
    unconcerned: "nobody left a stream that came, and said so on the wire",
  });
  return rules;
}

const format = (ms: number): string => formatDurationNs(ms * 1e6);

const notApplying = ({ what, limit }: Rule, why: string): ReportExpectation => ({
  what,
  limit: format(limit),
  measured: null,
  met: null,
  detail: `Does not apply: ${why}.`,
  applies: false,
});

function judge(
  { what, limit, measure, atLeast = () => null }: Rule,
  receipts: readonly ReportReceipt[],
): ReportExpectation {
  const measured = receipts.map((receipt) => {
    const [value, leastMs] = [measure(receipt), atLeast(receipt)];
    // What lasted to the end is known no further than that.
    const isOpen = leastMs !== null && (value === null || leastMs > value);
    return { receipt, value: isOpen ? leastMs : value, isOpen };
  });
  const known = measured.flatMap(({ value, ...one }) => (value === null ? [] : [{ ...one, value }]));
  const isUndecided = ({ value, isOpen }: (typeof measured)[number]): boolean =>
    value === null || (isOpen && value <= limit);
  const unknown = measured.filter(isUndecided).map(({ receipt }) => receipt);
  const worst = known.reduce<(typeof known)[number] | null>((a, b) => (a === null || b.value > a.value ? b : a), null);
  const isBroken = worst !== null && worst.value > limit;
  const isKnown = worst !== null && unknown.length === 0;
  const where = worst === null ? "" : `Worst: ${worst.receipt.stream} at ${worst.receipt.listener}. `;
  const rest = sayUnknown(unknown, measured.length, (one) =>
    atLeast(one) === null ? whyUnknown(one) : "it was not over when the run ended",
  );
  return {
    what,
    limit: format(limit),
    measured: worst === null ? null : `${worst.isOpen ? "at least " : ""}${format(worst.value)}`,
    met: isBroken ? false : isKnown ? true : null,
    detail: `${where}${rest}`.trim(),
  };
}
