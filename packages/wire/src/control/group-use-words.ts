import { type GroupKinship, groupKinship, keptRangeOf } from "../group-kinship.ts";
import { groupMac, parseIpAddress } from "../ip-address.ts";
import { formatCount } from "../units.ts";
import type { GroupUse } from "./watcher-report-schema.ts";

/** What one host saw that stands in a test's way. */
export interface UseInTheWay extends GroupUse {
  readonly kinship: GroupKinship;
}

const ORDER: readonly GroupKinship[] = ["same", "same-mac", "same-range"];

/** @returns what of this stands in the way of a test to `group`: the nearest kin first, then what has most frames */
export function usesInTheWay(group: string, uses: readonly GroupUse[]): UseInTheWay[] {
  const wanted = parseIpAddress(group);
  if (wanted === null) return [];
  return uses
    .flatMap((use): UseInTheWay[] => {
      const other = parseIpAddress(use.group);
      const kinship = other === null ? null : groupKinship(wanted, other);
      return kinship === null ? [] : [{ ...use, kinship }];
    })
    .sort((a, b) => ORDER.indexOf(a.kinship) - ORDER.indexOf(b.kinship) || b.frames - a.frames);
}

/**
 * One sentence without its full stop.
 * @param wanted the group as the reader calls it, such as `239.195.10.4 (board)` @param who saw it, as in `kiosk saw`
 */
export function sayGroupUse(group: string, wanted: string, use: UseInTheWay, who: string): string {
  const port = use.port === null ? "" : ` port ${use.port}`;
  const packets = `${formatCount(use.frames)} ${use.frames === 1 ? "packet" : "packets"} from ${use.source}`;
  const parsed = parseIpAddress(group);
  if (use.kinship === "same" || parsed === null) {
    return `${wanted} is in use: ${who} ${packets}${port === "" ? "" : ` to it,${port}`}`;
  }
  const elsewhere = `${who} ${packets} to ${use.group}${port}`;
  if (use.kinship === "same-mac") {
    return `${wanted} has the Ethernet address ${groupMac(parsed)} in common with ${use.group}, which is in use, and switches that go by it can't tell the two apart: ${elsewhere}`;
  }
  const range = keptRangeOf(parsed);
  return `${wanted} lies in ${range?.name}, ${range?.use}, and that is in use here: ${elsewhere}`;
}
