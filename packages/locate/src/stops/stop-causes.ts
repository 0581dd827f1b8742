import type { FindingKind } from "@dyetrace/wire";
import { keyOf } from "../cover/explaining-elements.ts";
import { type ElementKind, type FailureElement, isOnNode, placeNames } from "../cover/failure-element.ts";
import type { FindingCauses } from "../finding/finding.ts";
import { type SiteIndex, withWhole } from "../site/site-index.ts";
import { nodesDownTo, type SourceTree } from "../site/source-tree.ts";
import type { SilentPair } from "./silent-pair.ts";
import type { StopCase } from "./stop-case.ts";

/** Enough to repeat the silence; a report need not hold a thousand pairs. A bound of size, no source. */
const MOST_SILENT = 32;

/** Kinds that a short run with nobody leaving would show again. Memberships that run out, or a leave that cuts, it would not. */
const LASTING: readonly FindingKind[] = [
  "stops",
  "group-specific",
  "source-specific",
  "rendezvous-point",
  "size-limited",
];

/** What a stop's suspects would be at fault as; null where the stop comes of a time that a short run does not have. */
export function stopCauses(stop: StopCase, suspects: readonly string[], kind: FindingKind): FindingCauses | null {
  const { site, failure, silentPairs } = stop;
  if (!LASTING.includes(kind)) return null;
  return {
    payloadBytes: Math.min(...silentPairs.map(({ trial }) => trial.payloadBytes)),
    silent: silentPairs
      .slice(0, MOST_SILENT)
      .map(({ trial, receipt }) => ({ stream: trial.facts.stream.stream, host: receipt.listener.host })),
    // A cable is suspect by both its directions.
    elements: [...failure.elements.filter(isOnWay(site, silentPairs)), ...routersInPart(stop)].flatMap((element) =>
      placeNames(site, element)
        .filter((name) => suspects.includes(name))
        .map((place) => ({ place, kind: element.kind, of: element.groupKey })),
    ),
  };
}

/**
 * What a probe can foretell: what lies on the ways to who got nothing. A router that answers for a subnet beside the way,
 * and the reports to it, may matter or not, so nobody knows what a run would show of them: such a place has to lie on every
 * one of the ways.
 */
function isOnWay(site: SiteIndex, silentPairs: readonly SilentPair[]): (element: FailureElement) => boolean {
  if (!site.hasRouters) return () => true;
  const ways = silentPairs.map(({ trial, receipt }) => placesOnWay(site, trial.tree, receipt.node));
  return ({ kind, place }) => {
    const isBesideToo = isOnNode(kind) ? site.nodes[place]?.kind === "router" : BESIDE_TOO.includes(kind);
    return !isBesideToo || ways.every(({ nodes, segments }) => (isOnNode(kind) ? nodes : segments).has(place));
  };
}

const BESIDE_TOO: readonly ElementKind[] = ["reports", "reports-group", "direction"];

interface PlacesOnWay {
  readonly nodes: ReadonlySet<number>;
  /** In both directions. */
  readonly segments: ReadonlySet<number>;
}

function placesOnWay(site: SiteIndex, tree: SourceTree, leaf: number): PlacesOnWay {
  const [nodes, segments] = [new Set<number>(), new Set<number>()];
  for (const node of [tree.source, ...nodesDownTo(tree, leaf)]) {
    for (const place of withWhole(site.wholeNode, node)) nodes.add(place);
    const segment = tree.into[node] ?? -1;
    for (const one of [segment, site.reverse[segment] ?? -1]) {
      for (const place of withWhole(site.wholeSegment, one)) segments.add(place);
    }
  }
  return { nodes, segments };
}

/**
 * Where a router as such explains all, a router that fails one source, or joins without one, was not named beside it. What
 * another source's packets prove of the router says nothing against that.
 */
function routersInPart({ site, failure: { elements, pairs }, silentPairs }: StopCase): FailureElement[] {
  const isPassed = isOnWay(site, silentPairs);
  const routers = elements.filter(
    (element) => element.kind === "node" && site.nodes[element.place]?.kind === "router" && isPassed(element),
  );
  return routers.flatMap(({ place }) =>
    (["node-source", "node-any-source"] as const).flatMap((kind) => {
      const [key = null, ...others] = new Set(pairs.map(({ trial }) => keyOf(site, kind, trial)));
      const isNamed = elements.some((element) => element.kind === kind && element.place === place);
      const isFit = kind === "node-source" || pairs.every(({ trial }) => trial.isSourceSpecific !== true);
      return key === null || others.length > 0 || isNamed || !isFit ? [] : [{ kind, place, groupKey: key }];
    }),
  );
}
