import type { FindingKind } from "@dyetrace/wire";
import { keyOf } from "../cover/explaining-elements.ts";
import { type FailureElement, placeNames } from "../cover/failure-element.ts";
import type { NamedFailure } from "../cover/failure-set.ts";
import type { StreamTrial } from "../cover/stream-trials.ts";
import type { FindingCauses } from "../finding/finding.ts";
import type { SiteIndex } from "../site/site-index.ts";
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
export function stopCauses(
  { site, failure, silentPairs }: StopCase,
  suspects: readonly string[],
  kind: FindingKind,
): FindingCauses | null {
  if (!LASTING.includes(kind)) return null;
  return {
    payloadBytes: Math.min(...silentPairs.map(({ trial }) => trial.payloadBytes)),
    silent: silentPairs
      .slice(0, MOST_SILENT)
      .map(({ trial, receipt }) => ({ stream: trial.facts.stream.stream, host: receipt.listener.host })),
    // A cable is suspect by both its directions.
    elements: [...failure.elements, ...routersInPart(site, failure)].flatMap((element) =>
      placeNames(site, element)
        .filter((name) => suspects.includes(name))
        .map((place) => ({ place, kind: element.kind, of: element.groupKey })),
    ),
  };
}

/**
 * Where a router as such explains all, a router that fails one source, or joins without one, was not named beside it. What
 * another source's packets prove of the router says nothing against that.
 */
function routersInPart(site: SiteIndex, { elements, pairs }: NamedFailure<StreamTrial>): FailureElement[] {
  const routers = elements.filter(({ kind, place }) => kind === "node" && site.nodes[place]?.kind === "router");
  return routers.flatMap(({ place }) =>
    (["node-source", "node-any-source"] as const).flatMap((kind) => {
      const [key = null, ...others] = new Set(pairs.map(({ trial }) => keyOf(site, kind, trial)));
      const isNamed = elements.some((element) => element.kind === kind && element.place === place);
      const isFit = kind === "node-source" || pairs.every(({ trial }) => trial.isSourceSpecific !== true);
      return key === null || others.length > 0 || isNamed || !isFit ? [] : [{ kind, place, groupKey: key }];
    }),
  );
}
