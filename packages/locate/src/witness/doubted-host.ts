import type { Finding } from "../finding/finding.ts";
import { faultsNeeded, faultsUpTo } from "./faults-needed.ts";
import { mostTried } from "./most-tried.ts";
import { nodeAbove, placesFor, siteWithHostAt } from "./site-with-host-at.ts";
import type { Accuse, HostSupposition, Supposition } from "./supposition.ts";

/** A host that sits elsewhere than planned or whose report is wrong: if it is neither, it takes several faults more. */
export interface DoubtedHost {
  readonly host: string;
  readonly plannedAt: string | null;
  /** Nodes on which its report would fit; none where it fits nowhere, null where there are too many to try. */
  readonly fits: readonly string[] | null;
  /** What would have to be true if it sits where it is planned and reports what is so. */
  readonly otherwise: readonly Finding[];
  /** What to go on from. */
  readonly supposed: Supposition;
}

/** One error in place of so many faults is clearly likelier; in place of one it is as likely. */
const LEAST_FAULTS_SAVED = 2;

/** The host about which a supposition leaves the fewest faults, if it saves enough of them. */
export function doubtedHost(
  supposed: Supposition,
  suppositions: readonly HostSupposition[],
  accuse: Accuse,
): DoubtedHost | null {
  const most = faultsNeeded(supposed.found.findings) - LEAST_FAULTS_SAVED;
  const costs = suppositions.map(({ found }) => faultsUpTo(most, found));
  const least = costs.reduce((fewest, cost) => Math.min(fewest, cost), Number.POSITIVE_INFINITY);
  const best = suppositions.filter((_, i) => costs[i] === least);
  const [first] = best;
  if (first === undefined || least > most) return null;
  const { graph, run } = supposed;
  const { host } = first;
  const places = placesFor(graph, host);
  const fitting = (): string[] =>
    places.filter((at) => faultsUpTo(least, accuse(siteWithHostAt(graph, host, at), run)) <= least);
  const fits =
    first.at !== null
      ? best.flatMap((one) => (one.host === host ? (one.at ?? []) : []))
      : places.length > mostTried(graph, run)
        ? null
        : fitting();
  return { host, plannedAt: nodeAbove(graph, host), fits, otherwise: supposed.found.findings, supposed: first };
}
