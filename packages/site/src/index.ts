export { byDesignReach, type StreamReach } from "./by-design-reach.ts";
export { checkScenarioAgainstSite } from "./check-scenario-against-site.ts";
export { type DistributionTree, distributionTree } from "./distribution-tree.ts";
export type { AdviceCode, AdviceLevel, GroupAdvice } from "./groups/group-advice.ts";
export { type LintStream, lintGroups } from "./groups/lint-groups.ts";
export { domainsOfLinks, layer2Domain } from "./layer2-domain.ts";
export { loadSitePlan } from "./load-site-plan.ts";
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
} from "./loads/airtime.ts";
export { wireBytes, wireRateBps } from "./loads/ethernet-load.ts";
export { ipPacketSizes } from "./loads/ip-packet-sizes.ts";
export { type LoadStream, type SegmentLoad, segmentLoads } from "./loads/segment-loads.ts";
export { querierOf, queriersOf, type SiteQuerier } from "./querier-of.ts";
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
export { unfoldedNames, unfoldVlans } from "./vlans/unfold-vlans.ts";
export { placeInVlan, planPlace, vlanOfPlace } from "./vlans/vlan-place.ts";
