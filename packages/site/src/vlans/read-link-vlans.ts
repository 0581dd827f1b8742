import type { DataPath, FileMistakes } from "@dyetrace/wire";
import type { SiteNode, SiteVlan } from "../model/site-model.ts";

/**
 * The VLANs that cross a link: those it lists; on a trunk that lists none, all of the plan's.
 * @param ends the nodes at its ends
 * @returns ascending; null in a plan without VLANs
 */
export function readLinkVlans(
  written: number | readonly number[] | undefined,
  ends: readonly SiteNode[],
  path: DataPath,
  vlans: ReadonlyMap<number, SiteVlan> | null,
  mistakes: FileMistakes,
): readonly number[] | null {
  const at: DataPath = [...path, "vlan"];
  if (vlans === null) {
    if (written !== undefined) {
      mistakes.add(
        at,
        "A link names a VLAN, and the plan has no list of them",
        "Add one, such as vlans: { 10: {} }",
        "key",
      );
    }
    return null;
  }
  const all = [...vlans.keys()].sort((a, b) => a - b);
  const [host, router] = [ends.find(({ kind }) => kind === "host"), ends.find(({ kind }) => kind === "router")];
  if (written === undefined) {
    const example = `Write vlan: ${all[0] ?? 10} on this link`;
    if (host !== undefined) mistakes.add(path, `The host "${host.name}" is in no VLAN`, example);
    else if (router !== undefined) {
      mistakes.add(path, `The router "${router.name}" has no interface here: its link names no VLAN`, example);
    }
    return all;
  }
  const numbers = typeof written === "number" ? [written] : written;
  for (const number of numbers) {
    if (vlans.has(number)) continue;
    mistakes.add(at, `The plan lists no VLAN ${number}`, `Its VLANs are ${all.join(", ")}`);
  }
  if (host !== undefined && numbers.length > 1) {
    mistakes.add(
      at,
      `The host "${host.name}" would be in ${numbers.length} VLANs`,
      "Name one: agents send and receive untagged frames",
    );
  }
  return [...new Set(numbers)].sort((a, b) => a - b);
}
