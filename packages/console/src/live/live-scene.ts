import { type SiteScene, type SiteTree, sceneOf, type TreeNode } from "@dyetrace/picture";
import type { RunOutline } from "@dyetrace/wire";
import type { LiveHistory } from "../state/live-history.ts";
import { waterLive } from "./live-water.ts";

/** @param tree hung up by the stream's source  @param nowSecond the second that the run is in */
export function liveScene(
  tree: SiteTree,
  stream: RunOutline["streams"][number],
  history: LiveHistory,
  nowSecond: number,
): SiteScene {
  const live = sceneOf(tree, (agent) => waterLive(history, stream, agent, nowSecond), stream.source);
  const ratesBps = new Map<string, number>();
  const measure = (node: TreeNode): number => {
    const own = node.node.agent === null ? 0 : (history.strip(node.node.agent, stream.streamId)?.last?.rateBps ?? 0);
    const rateBps = Math.max(own, ...node.children.map(measure));
    if (rateBps > 0) ratesBps.set(node.node.name, rateBps);
    return rateBps;
  };
  measure(tree.root);
  return { ...live, ratesBps };
}
