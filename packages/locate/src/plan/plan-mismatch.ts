import type { Finding } from "../finding/finding.ts";
import { findingsOf, rowsOf } from "../finding/finding-row.ts";
import { count, nameList } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { routersOnWay } from "../site/routers-on-way.ts";
import type { SiteIndex } from "../site/site-index.ts";

/** A stream on the site as the plan has it. */
interface PlannedStream extends StreamFacts {
  readonly site: SiteIndex;
}

interface WrongHops extends PlannedStream {
  readonly wrong: readonly { readonly host: string; readonly passed: number; readonly planned: number }[];
}

interface UnknownPlaces extends PlannedStream {
  /** Hosts that the plan does not connect to the source, though packets came. */
  readonly served: readonly string[];
}

const row = rowsOf<PlannedStream>({ streams: ({ stream }) => [stream.stream], suspects: () => [] });

/** A sender or a host between may set another TTL than the kernel's own. Our estimate, no source. */
const HOPS_CONFIDENCE = 0.9;

const WRONG_HOPS = row({
  kind: "plan-mismatch",
  match: wrongHops,
  title: ({ stream, wrong }) =>
    `The plan and the way of ${stream.stream} to ${nameList(wrong.map((w) => w.host))} do not agree on the routers in between`,
  evidence: ({ wrong }) =>
    wrong.slice(0, 5).map((w) => `${w.host}: ${count(w.passed, "router")} passed by the TTL, ${w.planned} in the plan`),
  confidence: () => HOPS_CONFIDENCE,
  advice: "Correct the site plan: names of segments on this way mean little until it is right.",
  reference: "RFC 1812, section 5.3.1",
});

const UNKNOWN_PLACES = row({
  kind: "plan-mismatch",
  match: (one): UnknownPlaces | null => {
    const served = one.unreachable.filter(({ receivedPackets }) => receivedPackets > 0).map(({ host }) => host);
    return served.length === 0 ? null : { ...one, served };
  },
  title: ({ stream, served }) => `${nameList(served)} received ${stream.stream}, but no way leads there in the plan`,
  evidence: () => ["A packet cannot come where no link leads: a link or a node is missing in the plan."],
  advice: "Complete the site plan and repeat the run.",
  reference: "common practice, no standard",
});

export function findPlanMismatch(site: SiteIndex, streams: readonly StreamFacts[]): Finding[] {
  const planned = streams.map((facts) => ({ ...facts, site }));
  return [...findingsOf([WRONG_HOPS], planned), ...findingsOf([UNKNOWN_PLACES], planned)];
}

/** TTL sent less TTL seen is the number of routers passed; the plan says how many there are. */
function wrongHops(one: PlannedStream): WrongHops | null {
  const { site, stream, tree, receipts } = one;
  const wrong = receipts.flatMap(({ listener: { host, ttlSeen }, node }) => {
    if (stream.ttl === null || ttlSeen === null) return [];
    const passed = stream.ttl - ttlSeen;
    const planned = routersOnWay(site, tree, node).length;
    return passed === planned ? [] : [{ host, passed, planned }];
  });
  return wrong.length === 0 ? null : { ...one, wrong };
}
