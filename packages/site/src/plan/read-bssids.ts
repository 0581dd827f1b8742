import type { DataPath, FileMistakes, SitePlanNode } from "@dyetrace/wire";
import { shown } from "@dyetrace/wire";
import type { SiteNode } from "../model/site-model.ts";

const BSSID = /^[0-9a-f]{2}(?::[0-9a-f]{2}){5}$/;

/** @returns in lower case with colons; null where the plan gives none, or gives them to what is no access point */
export function readBssids(
  { kind, bssid }: SitePlanNode,
  path: DataPath,
  mistakes: FileMistakes,
): readonly string[] | null {
  if (bssid === undefined) return null;
  if (kind !== "access-point") {
    mistakes.add(
      [...path, "bssid"],
      `Only an access point has a BSSID, and this is of kind ${kind}`,
      "Remove it",
      "key",
    );
    return null;
  }
  const bssids = (typeof bssid === "string" ? [bssid] : bssid).map((one) => one.toLowerCase().replaceAll("-", ":"));
  for (const [index, one] of bssids.entries()) {
    const at = typeof bssid === "string" ? [...path, "bssid"] : [...path, "bssid", index];
    if (!BSSID.test(one)) {
      mistakes.add(
        at,
        `"${shown(one)}" is no BSSID`,
        "Write six pairs of hexadecimal digits, such as 02:00:5e:10:00:01",
      );
    }
  }
  return bssids;
}

/** Two access points with one BSSID could not be told apart. */
export function checkBssids(nodes: readonly SiteNode[], mistakes: FileMistakes): void {
  const owner = new Map<string, string>();
  for (const { name, bssids = [] } of nodes) {
    for (const bssid of bssids) {
      const other = owner.get(bssid);
      if (other === undefined) owner.set(bssid, name);
      else {
        const message = other === name ? `${bssid} stands here twice` : `${bssid} is the BSSID of "${other}" already`;
        mistakes.add(["nodes", name, "bssid"], message, "Give each radio its own", "key");
      }
    }
  }
}
