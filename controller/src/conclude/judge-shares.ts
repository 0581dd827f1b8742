import {
  judgeProportion,
  type LimitVerdict,
  type Proportion,
  proportionBounds,
  trialsToDecide,
} from "@dyetrace/measure";
import {
  formatCount,
  formatRatio,
  type ReportExpectation,
  type ReportReceipt,
  type ScenarioExpectation,
} from "@dyetrace/wire";
import { sayMorePackets } from "../plan/more-packets.ts";
import { sayUnknown } from "./unknown-receipts.ts";

/** A limit on a share of packets. */
interface ShareRule {
  readonly what: string;
  /** What happens to a packet, as in "2 of 100 packets were lost". */
  readonly happens: string;
  readonly limitRatio: number;
  /** Null: this receipt says nothing. */
  readonly counted: (receipt: ReportReceipt) => Proportion | null;
}

interface Judged {
  readonly receipt: ReportReceipt;
  readonly counted: Proportion;
  readonly verdict: LimitVerdict;
}

/** Packets of a stream in a second while it is sent; null where nobody knows. */
export type PacketRate = (stream: string) => number | null;

/**
 * Holds the scenario's limits on shares against every receipt. Met: each of them shows it. Broken: one of them does.
 * Otherwise the packets were too few, or a receipt says nothing, and it is not decided.
 */
export function judgeShares(
  expect: ScenarioExpectation,
  receipts: readonly ReportReceipt[],
  rateOf: PacketRate,
): ReportExpectation[] {
  return rulesOf(expect).map((rule) => judgeShare(rule, receipts, rateOf));
}

function rulesOf({ lossRatio, duplicateRatio, reorderedRatio }: ScenarioExpectation): ShareRule[] {
  const rules: ShareRule[] = [];
  const add = (limitRatio: number | null, rule: Omit<ShareRule, "limitRatio">): void => {
    if (limitRatio !== null) rules.push({ ...rule, limitRatio });
  };
  add(lossRatio, { what: "loss", happens: "lost", counted: ({ lost, sent }) => proportion(lost, sent) });
  add(duplicateRatio, {
    what: "duplicates",
    happens: "doubled",
    counted: ({ duplicates, received }) => proportion(duplicates, received),
  });
  add(reorderedRatio, {
    what: "reordered",
    happens: "out of order",
    counted: ({ reordered, received }) => proportion(reordered, received),
  });
  return rules;
}

const proportion = (hits: number | null, trials: number | null): Proportion | null =>
  hits === null || trials === null || trials === 0 ? null : { hits, trials };

function judgeShare(rule: ShareRule, receipts: readonly ReportReceipt[], rateOf: PacketRate): ReportExpectation {
  const { what, limitRatio, counted: countedIn } = rule;
  const counts = receipts.flatMap((receipt) => {
    const counted = countedIn(receipt);
    return counted === null ? [] : [{ receipt, counted }];
  });
  const judged = counts.map(({ receipt, counted }) => {
    return { receipt, counted, verdict: judgeProportion(counted, limitRatio, counts.length) };
  });
  const unknown = receipts.filter((receipt) => countedIn(receipt) === null);
  const worst = worstOf(judged);
  const verdict = worst?.verdict ?? null;
  const open = verdict === "undecided" && worst !== null ? openQuestion(rule, worst, rateOf) : null;
  const told = worst === null ? "" : tell(rule, worst);
  const rest = sayUnknown(unknown, receipts.length);
  return {
    what,
    limit: formatRatio(limitRatio),
    measured: worst === null ? null : formatRatio(shareOf(worst)),
    met: verdict === "broken" ? false : verdict === "kept" && unknown.length === 0 ? true : null,
    detail: [told, open?.sentence ?? "", rest].filter((sentence) => sentence !== "").join(" "),
    ...(open === null ? {} : { undecided: open.undecided }),
  };
}

/** What decides the verdict: one that breaks the limit, else one that leaves it open, and of those the largest share. */
function worstOf(judged: readonly Judged[]): Judged | null {
  const rank = ({ verdict }: Judged): number => ["kept", "undecided", "broken"].indexOf(verdict);
  return judged.reduce<Judged | null>((worst, one) => {
    if (worst === null || rank(one) > rank(worst)) return one;
    if (rank(one) < rank(worst)) return worst;
    const [share, most] = [shareOf(one), shareOf(worst)];
    return share > most || (share === most && one.counted.trials < worst.counted.trials) ? one : worst;
  }, null);
}

const shareOf = ({ counted: { hits, trials } }: Judged): number => hits / trials;

/** Limits of 0 are about the packets themselves; beside all others stands what the true share may be. */
function tell({ happens, limitRatio }: ShareRule, { receipt, counted }: Judged): string {
  const { stream, listener } = receipt;
  const said = `Worst: ${stream} at ${listener}, ${formatCount(counted.hits)} of ${formatCount(counted.trials)} ${happens}`;
  if (limitRatio === 0) return `${said}.`;
  const { low, high } = proportionBounds(counted);
  const [least, most] = [formatRatio(low), formatRatio(high)];
  const range = low === 0 ? `at most ${most}` : least === most ? `about ${most}` : `${least} to ${most}`;
  return `${said}, which allows ${range}.`;
}

function openQuestion(
  { limitRatio }: ShareRule,
  { receipt, counted }: Judged,
  rateOf: PacketRate,
): { readonly sentence: string; readonly undecided: NonNullable<ReportExpectation["undecided"]> } {
  const { stream, listener } = receipt;
  const neededPackets = trialsToDecide(counted, limitRatio);
  const more = neededPackets === null ? null : sayMorePackets(neededPackets, counted.trials, rateOf(stream));
  const decides =
    more === null ? "So near the limit no number of packets decides it" : `If it stays so, about ${more.sentence}`;
  return {
    sentence: `Undecided: the packets were too few. ${decides}.`,
    undecided: { stream, listener, packets: counted.trials, neededPackets, moreSeconds: more?.seconds ?? null },
  };
}
