import type { PathTrial } from "../cover/path-trial.ts";
import type { RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { reaches, sourceTree } from "../site/source-tree.ts";

/** Who heard the querier, and who did not although it could: queries go everywhere by themselves, no report asks for them. */
export interface UnheardQueries {
  /** The querier's way to everybody. */
  readonly trial: PathTrial;
  readonly hearing: readonly number[];
  readonly deaf: readonly number[];
}

/** Whoever missed one query may have missed it by chance. Our choice, no source. */
const FEWEST_QUERIES = 2;

/**
 * Null where it says nothing: the plan does not name the one querier, or nobody heard it twice, or everybody did. Only the
 * whole site's one querier counts, so there are no VLANs in it and no routers.
 */
export function unheardQueries(site: SiteIndex, run: RunObservations, isIpv6: boolean): UnheardQueries | null {
  const queriers = site.nodes.filter(({ isQuerier }) => isQuerier);
  const querier = site.nodeNumber.get(queriers[0]?.name ?? "");
  if (queriers.length !== 1 || querier === undefined || site.hasRouters || site.wholeNode.size > 0) return null;
  const tree = sourceTree(site, querier);
  const heardBy = run.queriers.map((one) => ({
    ...one,
    node: site.nodeNumber.get(one.host) ?? -1,
    heard: one.queriers.filter(({ family }) => family === (isIpv6 ? 6 : 4)),
  }));
  const hearing = heardBy.filter(({ heard }) => heard.some(({ queries }) => queries >= FEWEST_QUERIES));
  const times = hearing.flatMap(({ heard }) => heard.flatMap(({ firstMs, lastMs }) => [firstMs, lastMs]));
  const [fromMs, toMs] = [Math.min(...times), Math.max(...times)];
  const deaf = heardBy.filter(
    ({ heard, canHear, watchedFromMs, watchedToMs }) =>
      canHear && heard.length === 0 && watchedFromMs <= fromMs && watchedToMs >= toMs,
  );
  const reached = (hosts: readonly { readonly node: number }[]): number[] =>
    hosts.flatMap(({ node }) => (node >= 0 && reaches(tree, node) ? node : []));
  if (hearing.length === 0 || deaf.length === 0) return null;
  const trial: PathTrial = {
    tree,
    groupKey: "queries",
    isSourceSpecific: true,
    payloadBytes: 0,
    members: null,
    outcomes: [],
  };
  return { trial, hearing: reached(hearing), deaf: reached(deaf) };
}
