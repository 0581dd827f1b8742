import type { RunObservations } from "../../../packages/locate/src/run/run-observations.ts";
import type { SimulatedClass } from "./class-case.ts";
import { lostQueries } from "./lost-queries.ts";
import { queriedEverywhere } from "./observed-queries.ts";

/**
 * Queries of one family get lost as in `lost-queries`, and those of the other go on everywhere: IGMP's queries keep no
 * IPv6 membership alive, and MLD's none of IPv4 (RFC 3376; RFC 3810).
 */
export const oneFamily: SimulatedClass = {
  name: "one-family",
  about: "queries of one family are lost or missing, those of the other are not",
  variants: ["IPv4 asked for no more", "IPv6 asked for no more", "no IGMP querier", "no MLD querier"],
  draw: (variant, random) => {
    const isNone = variant.startsWith("no ");
    const drawn = lostQueries.draw(isNone ? "no querier, switches flood" : "source before the trunk", random);
    if (drawn === null) return null;
    const isIpv6 = variant.includes("IPv6") || variant.includes("MLD");
    const run = isIpv6 ? inIpv6(drawn.run) : drawn.run;
    return { ...drawn, run: queriedEverywhere(run, isIpv6 ? 4 : 6) };
  },
};

/** The same run with IPv6 groups, and MLD where it had IGMP. */
function inIpv6(run: RunObservations): RunObservations {
  const ipv6 = (group: string): string => `ff15::${group.split(".").slice(2).join(":")}`;
  return {
    ...run,
    streams: run.streams.map((stream) => ({ ...stream, group: ipv6(stream.group) })),
    membership: run.membership.map((event) => ({ ...event, group: ipv6(event.group) })),
    queriers: run.queriers.map((one) => ({
      ...one,
      queriers: one.queriers.map((querier) => ({ ...querier, address: "fe80::1", family: 6, version: 2 })),
    })),
  };
}
