export { type Evidence, evidenceOf } from "./evidence/evidence-of.ts";
export { aboutPorts, clearedWords, type PortPair, portsToLookAt } from "./evidence/finding-facts.ts";
export { niceStep } from "./evidence/nice-step.ts";
export { passProof } from "./evidence/pass-proof.ts";
export { formatMs, orUnknown } from "./format/format-figures.ts";
export { layOutDelta } from "./layout/delta-layout.ts";
export type { DeltaLayout, DeltaOptions, NodePlace, Point, Polyline } from "./layout/delta-place.ts";
export { findNode, nodesAbove } from "./layout/find-node.ts";
export type { Flow } from "./layout/flow.ts";
export { channelWidth } from "./layout/geometry.ts";
export { nameGrowth, type PlaceLabel, scaleStep, shownNames } from "./layout/shown-names.ts";
export { hangUp, type SiteTree, type TreeNode } from "./layout/site-tree.ts";
export { textWidth } from "./layout/text-width.ts";
export { type ChangeScene, changeScene } from "./scene/change-scene.ts";
export { type RunScene, runScene } from "./scene/finding-scene.ts";
export { foldedNodes } from "./scene/folded-nodes.ts";
export { foldedWords } from "./scene/folded-words.ts";
export { GROUPED_FROM_NODES, groupHosts, type HostFilter } from "./scene/group-hosts.ts";
export { hostClass, summariseHosts } from "./scene/host-class.ts";
export { replayScene, worstMarks } from "./scene/replay-scene.ts";
export {
  agentsBehind,
  graphOf,
  headOf,
  planScene,
  reportScene,
  type SiteScene,
  sceneOf,
  wayEvidence,
} from "./scene/site-scene.ts";
export { placeFlags } from "./shapes/place-flags.ts";
export type { MapSelection, RestsOn, SiteMapProps } from "./shapes/site-map-props.ts";
export type { Channel, ChannelWater } from "./water/channel-water.ts";
export { type FindingMark, findingMarks, wordOf } from "./water/finding-marks.ts";
export type { HostWater } from "./water/host-water.ts";
export { waterOfMark } from "./water/mark-water.ts";
export { describeChannel, describeHostWater } from "./water/say-water.ts";
