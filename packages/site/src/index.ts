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
