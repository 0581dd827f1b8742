import { type DataPath, type FileMistakes, parseDurationNs, type SitePlanNode } from "@dyetrace/wire";

/** Kinds of node that keep memberships. */
const KEEPERS: ReadonlySet<SitePlanNode["kind"]> = new Set(["switch", "router", "access-point"]);

/** @returns how long the node keeps a membership, ms; null where the plan does not say, or says it wrongly */
export function readMembershipTime(node: SitePlanNode, path: DataPath, mistakes: FileMistakes): number | null {
  const text = node["membership-time"];
  if (text === undefined) return null;
  const at = [...path, "membership-time"];
  if (!KEEPERS.has(node.kind)) {
    mistakes.add(at, `A node of kind ${node.kind} keeps no memberships`, `Remove "membership-time"`, "key");
    return null;
  }
  const timeNs = mistakes.attempt(at, () => parseDurationNs(text));
  if (timeNs === null || timeNs > 0) return timeNs === null ? null : timeNs / 1e6;
  mistakes.add(at, "A membership lasts for some time", "Write, for example, 260 s");
  return null;
}
