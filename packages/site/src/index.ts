export { byDesignReach, type StreamReach } from "./by-design-reach.ts";
export { checkScenarioAgainstSite } from "./check-scenario-against-site.ts";
export { type DistributionTree, distributionTree } from "./distribution-tree.ts";
export { wireBytes, wireRateBps } from "./ethernet-load.ts";
export { layer2Domain } from "./layer2-domain.ts";
export { loadSitePlan } from "./load-site-plan.ts";
export { querierOf, type SiteQuerier } from "./querier-of.ts";
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
  segmentId,
} from "./site-model.ts";
export { pathBetween } from "./site-path.ts";
