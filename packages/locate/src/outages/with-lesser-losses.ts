import { countRanges, intersectRanges, mergeSequenceRanges } from "@dyetrace/measure";
import type { Finding } from "../finding/finding.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { Outage } from "./outage.ts";

/** Findings about outages, and those about losses that are left beside them. */
export interface OutagesAndLosses {
  readonly outages: readonly Finding[];
  readonly losses: readonly Finding[];
}

/**
 * A place that has outages and loses packets of the same streams besides, to the same hosts, has one fault: whichever of the
 * two took more packets speaks, and tells of the other. Losses of a limited rate have a cause of their own.
 * @param all the outages that the findings are about
 */
export function withLesserLosses(
  streams: readonly StreamFacts[],
  all: readonly Outage[],
  { outages, losses }: OutagesAndLosses,
): OutagesAndLosses {
  const [leftOutages, leftLosses] = [new Set(outages), new Map(losses.map((loss) => [loss, loss]))];
  const merged = new Map<Finding, Finding>();
  for (const loss of losses) {
    const outage = outages.find((one) => leftOutages.has(one) && isAtSamePlace(one, loss));
    if (outage === undefined) continue;
    if (isLossGreater(streams, all, loss)) {
      if (!isWithin(outage.streams, loss.streams)) continue;
      leftOutages.delete(outage);
      leftLosses.set(loss, together(loss, outage));
    } else if (isWithin(loss.streams, outage.streams)) {
      leftLosses.delete(loss);
      merged.set(outage, together(merged.get(outage) ?? outage, loss));
    }
  }
  return {
    outages: outages.flatMap((one) => (leftOutages.has(one) ? [merged.get(one) ?? one] : [])),
    losses: [...leftLosses.values()],
  };
}

function isAtSamePlace(outage: Finding, { kind, suspects: [chief = ""], witnesses = [] }: Finding): boolean {
  const areLosses = kind === "loses" && outage.kind === "loses";
  return areLosses && outage.suspects.includes(chief) && isWithin(witnesses, outage.witnesses ?? []);
}

/** Whether these hosts lost more besides than in the outages. */
function isLossGreater(streams: readonly StreamFacts[], all: readonly Outage[], loss: Finding): boolean {
  let [inOutages, besides] = [0, 0];
  for (const facts of streams.filter(({ stream }) => loss.streams.includes(stream.stream))) {
    const numbers = mergeSequenceRanges(all.filter((one) => one.facts === facts).map(({ around }) => around));
    for (const { listener, lost, lostPackets } of facts.receipts) {
      if (loss.witnesses?.includes(listener.host) !== true) continue;
      const within = countRanges(intersectRanges(lost, numbers));
      inOutages += within;
      besides += lostPackets - within;
    }
  }
  return besides > inOutages;
}

const isWithin = (some: readonly string[], all: readonly string[]): boolean => some.every((one) => all.includes(one));

const together = (chief: Finding, other: Finding): Finding => ({
  ...chief,
  suspects: [...new Set([...chief.suspects, ...other.suspects])],
  evidence: [...new Set([...chief.evidence, other.title, ...other.evidence])],
});
