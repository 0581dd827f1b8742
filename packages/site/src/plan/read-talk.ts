import { type DataPath, type FileMistakes, parseIpAddress, type SitePlanNode, shown } from "@dyetrace/wire";
import type { SiteNode } from "../model/site-model.ts";

/** Whether and where a node can be asked for its tables. */
export function readTalk(
  { kind, management, announces }: SitePlanNode,
  path: DataPath,
  mistakes: FileMistakes,
): Pick<SiteNode, "management" | "announces"> {
  const canTalk = kind === "switch" || kind === "router" || kind === "access-point";
  for (const [key, value] of Object.entries({ management, announces })) {
    if (value === undefined || canTalk) continue;
    const message = `Only switches, routers and access points announce themselves and are asked, and this node is of kind ${kind}`;
    mistakes.add([...path, key], message, `Remove "${key}"`, "key");
  }
  const address = management === undefined ? null : parseIpAddress(management);
  if (management !== undefined && address === null) {
    mistakes.add([...path, "management"], `"${shown(management)}" is no IP address`, "Write one such as 192.0.2.7");
  }
  return {
    ...(address === null || management === undefined ? {} : { management }),
    ...(announces === undefined ? {} : { announces }),
  };
}
