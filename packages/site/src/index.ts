export {
  type AirShare,
  type AirStream,
  acknowledgementUs,
  difsUs,
  frameUs,
  meanBackoffUs,
  mpduSizes,
  multicastAirShare,
  OFDM_RATES_BPS,
  type OfdmRateBps,
  type RadioBand,
  unicastAirShare,
} from "./airtime.ts";
export { byDesignReach, type StreamReach } from "./by-design-reach.ts";
export { checkScenarioAgainstSite } from "./check-scenario-against-site.ts";
export { type DistributionTree, distributionTree } from "./distribution-tree.ts";
export { wireBytes, wireRateBps } from "./ethernet-load.ts";
export type { AdviceCode, AdviceLevel, GroupAdvice } from "./group-advice.ts";
export { ipPacketSizes } from "./ip-packet-sizes.ts";
export { domainsOfLinks, layer2Domain } from "./layer2-domain.ts";
export { type LintStream, lintGroups } from "./lint-groups.ts";
export { loadSitePlan } from "./load-site-plan.ts";
export { querierOf, queriersOf, type SiteQuerier } from "./querier-of.ts";
export { type LoadStream, type SegmentLoad, segmentLoads } from "./segment-loads.ts";
export { agentNames, buildSiteGraph, hostOfAgent } from "./site-graph.ts";
export {
  type LinkSegment,
  type NodeKind,
  type PortRef,
  type SiteGraph,
  type SiteLink,
  type SiteNode,
  type SitePath,
  type SiteVlan,
  segmentId,
} from "./site-model.ts";
export { pathBetween, pathsBetween, routerHops, segmentsDownTo } from "./site-path.ts";
export { type RouterChoice, routerChoices, type SourceWays, sourceWays } from "./source-ways.ts";
export { addressInSubnet, isInSubnet, parseSubnet, type Subnet } from "./subnet.ts";
export { unfoldedNames, unfoldVlans } from "./unfold-vlans.ts";
export { placeInVlan, planPlace, vlanOfPlace } from "./vlan-place.ts";
