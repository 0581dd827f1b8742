import type { Finding } from "../finding/finding.ts";
import { findingsOf, rowsOf } from "../finding/finding-row.ts";
import { nameList } from "../finding/wording.ts";
import type { RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { type HostInOtherVlan, hostsInOtherVlans } from "./other-vlan.ts";

/** A querier in between, or a plan that has the two VLANs exchanged, would look the same. Our estimate, no source. */
const CONFIDENCE = 0.85;

interface Placed extends HostInOtherVlan {
  /** The node that it hangs on in the plan, and the segments to it. */
  readonly plannedAt: string | null;
  readonly segments: readonly string[];
}

const row = rowsOf<Placed>({
  streams: () => [],
  suspects: ({ host, segments }) => [host, ...segments],
  confidence: () => CONFIDENCE,
});

const ROWS = [
  row({
    kind: "plan-mismatch",
    match: (one) => one,
    title: ({ host, vlan, seemsIn, querier }) =>
      `${host} seems to sit in VLAN ${seemsIn}, not in VLAN ${vlan}: the queries that come to it are those of ${querier.address}, the querier of VLAN ${seemsIn}`,
    evidence: ({ vlan, seemsIn, querier, alsoThere, notThere }) => [
      ...(alsoThere.length === 0
        ? []
        : [`${nameList(alsoThere)} in VLAN ${seemsIn} heard ${querier.address} as well.`]),
      ...(notThere.length === 0 ? [] : [`${nameList(notThere)} in VLAN ${vlan} heard another querier.`]),
      "Queries stay in their VLAN.",
    ],
    advice: ({ host }) =>
      `See which VLAN the port of ${host} is in, correct the port or the site plan and repeat the run. Until then no place beside it is sure.`,
    reference: "IEEE 802.1Q; RFC 4541, section 2.1.1",
  }),
];

/** Hosts that hear the querier of another VLAN than their own. */
export function findHostsInOtherVlans(site: SiteIndex, run: RunObservations): Finding[] {
  const cases = hostsInOtherVlans(site, run.queriers).map((one): Placed => {
    const links = site.graph.outgoing.get(one.host) ?? [];
    const [first] = links;
    const segments = [...site.graph.segments.values()].filter(({ to }) => to.node === one.host).map(({ id }) => id);
    return { ...one, plannedAt: first?.to.node ?? null, segments };
  });
  return findingsOf(ROWS, cases).map((finding, at) => {
    const one = cases[at];
    if (one === undefined) return finding;
    return { ...finding, misplaced: [{ host: one.host, plannedAt: one.plannedAt, seemsAt: null }] };
  });
}
