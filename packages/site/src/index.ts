export { checkAgainstSite, type SiteCheck } from "./against/check-against-site.ts";
export type { SiteContradiction } from "./against/site-contradiction.ts";
export { drawSite } from "./draw/draw-site.ts";
export type { Drawing, DrawnLink, DrawnNode } from "./draw/drawing.ts";
export type { Observations } from "./draw/observations.ts";
export { updatePlan } from "./draw/update-plan.ts";
export { writeDrawnPlan } from "./draw/write-plan.ts";
export { questionsIn, type Rests } from "./edit/drawn-comments.ts";
export { editPlan } from "./edit/edit-plan.ts";
export { type LineChange, lineChanges } from "./edit/line-changes.ts";
export { beginHistory, change, type PlanHistory, redo, undo } from "./edit/plan-history.ts";
export { restsIn } from "./edit/rests-in.ts";
export type { AdviceCode, AdviceLevel, GroupAdvice } from "./groups/group-advice.ts";
export { KNOWN_USES_SOURCE, type KnownUse, knownUseOf } from "./groups/known-uses.ts";
export { type LintStream, lintGroups } from "./groups/lint-groups.ts";
export {
  type AirShare,
  type AirStation,
  type AirStream,
  addShares,
  mpduSizes,
  multicastAirShare,
  unicastAirShare,
} from "./loads/airtime.ts";
export { wireBytes, wireRateBps } from "./loads/ethernet-load.ts";
export { ipPacketSizes } from "./loads/ip-packet-sizes.ts";
export { type LoadStream, type SegmentLoad, segmentLoads } from "./loads/segment-loads.ts";
export { domainsOfLinks, layer2Domain } from "./model/layer2-domain.ts";
export { agentNames, buildSiteGraph, hasRadio, hostOfAgent, nodeOfAddress } from "./model/site-graph.ts";
export {
  type LinkSegment,
  type NodeKind,
  type PortRef,
  type SiteGraph,
  type SiteLink,
  type SiteNode,
  type SitePath,
  type SiteRadio,
  type SiteVlan,
  segmentId,
} from "./model/site-model.ts";
export { addressInSubnet, isInSubnet, parseSubnet, type Subnet } from "./model/subnet.ts";
export { checkScenarioAgainstSite } from "./plan/check-scenario-against-site.ts";
export { loadSitePlan } from "./plan/load-site-plan.ts";
export { makeMcsMode, modeOfRate } from "./plan/read-radio.ts";
export { nodeOfSource } from "./vlans/node-of-source.ts";
export { unfoldedNames, unfoldVlans } from "./vlans/unfold-vlans.ts";
export { placeInVlan, planPlace, vlanOfPlace } from "./vlans/vlan-place.ts";
export { byDesignReach, type StreamReach } from "./ways/by-design-reach.ts";
export { mayBeDesignated } from "./ways/designated-routers.ts";
export { detours } from "./ways/detours.ts";
export { type DistributionTree, distributionTree } from "./ways/distribution-tree.ts";
export { querierOf, queriersOf, type SiteQuerier } from "./ways/querier-of.ts";
export { pathBetween, pathsBetween, routerHops, segmentsDownTo } from "./ways/site-path.ts";
export { type RouterChoice, routerChoices, type SourceWays, sourceWays } from "./ways/source-ways.ts";
