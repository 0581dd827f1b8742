import { planPlace, vlanOfPlace } from "@dyetrace/site";
import type { Finding } from "../finding/finding.ts";
import { findingsOf } from "../finding/finding-row.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { lossCase } from "./loss-case.ts";
import { LOSS_FLOOR } from "./loss-floor.ts";
import { lowestLoss, normalQuantileOfTail, studentQuantile } from "./loss-interval.ts";
import { LOSS_ROWS } from "./loss-rows.ts";
import type { MeasuredChain } from "./segment-loss.ts";
import type { ChainLoss, LossScope } from "./stream-loss.ts";

/** Chance that any of all the links of a run without loss is called lossy. Our choice, no source. */
const FAMILY_ERROR = 0.01;

/**
 * Findings about loss. Every link is tested at an error level divided by the number of links: with hundreds of links a
 * plain 95 % interval would blame sound ones in every run.
 */
export function findLoss(
  site: SiteIndex,
  chains: readonly MeasuredChain[],
  scopes: ReadonlyMap<StreamFacts, LossScope>,
): Finding[] {
  const tests = chains.reduce((sum, chain) => sum + chain.parts.length, 0);
  const z = normalQuantileOfTail(FAMILY_ERROR / Math.max(1, tests));
  const lossy = chains.filter((chain) => isLossy(chain, z));
  const named = lossy.filter((chain) => !isExplained(chain, lossy));
  return mergedByTrunk(
    findingsOf(
      LOSS_ROWS,
      named.map((chain) => lossCase(site, chain, chains, scopes, z)),
    ),
  );
}

/** What several VLANs lose on one trunk has one cause more likely than several: the trunk as a whole is named first. */
function mergedByTrunk(findings: readonly Finding[]): Finding[] {
  const merged = new Map<string, Finding>();
  for (const finding of findings) {
    const [chief = ""] = finding.suspects;
    const vlan = vlanOfPlace(chief);
    const key = vlan === null ? `${merged.size}` : `${finding.kind} ${planPlace(chief)}`;
    const same = merged.get(key);
    if (same === undefined) {
      merged.set(key, finding);
      continue;
    }
    const suspects = [planPlace(chief), ...same.suspects, ...finding.suspects];
    merged.set(key, {
      ...same,
      streams: [...new Set([...same.streams, ...finding.streams])],
      suspects: [...new Set(suspects)],
      title: `${same.title}; VLAN ${vlan} loses on ${planPlace(chief)} as well`,
      evidence: [...same.evidence, finding.title, ...finding.evidence],
      witnesses: [...new Set([...(same.witnesses ?? []), ...(finding.witnesses ?? [])])],
    });
  }
  return [...merged.values()];
}

function isLossy({ parts, isLast }: MeasuredChain, z: number): boolean {
  return (
    isSurelyOver(parts, isLast, z) ||
    (parts.length > 1 && parts.some((part) => isOver(part) && isSurelyOver([part], isLast, z)))
  );
}

/**
 * Bursts do not make the place of a loss at the last link doubtful: what a neighbour got and this listener did not was
 * lost there. Further up a coincidence of bursts below can look like a common loss, so the wider interval decides.
 */
function isSurelyOver(parts: readonly ChainLoss[], isLast: boolean, z: number): boolean {
  // The lower limit lies below the estimate.
  if (!parts.some(isOver)) return false;
  const links = parts.map(({ link }) => link);
  const width = !isLast && links.some((link) => link.burstFactor > 1) ? studentQuantile(z, 19) : z;
  return lowestLoss(links, width, isLast ? "not-counted" : "counted") > LOSS_FLOOR;
}

const isOver = ({ link }: ChainLoss): boolean => link.rawLossRatio > LOSS_FLOOR;

/** A longer chain's loss that shorter lossy chains within it account for needs no finding of its own. */
function isExplained(chain: MeasuredChain, lossy: readonly MeasuredChain[]): boolean {
  const within = lossy.filter(
    (other) => other.segments.length < chain.segments.length && other.segments.every((s) => chain.segments.includes(s)),
  );
  const explained = within.reduce((sum, other) => sum + other.interval.high, 0);
  return within.length > 0 && chain.interval.low - explained <= LOSS_FLOOR;
}
