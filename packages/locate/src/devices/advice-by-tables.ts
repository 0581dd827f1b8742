import { planPlace } from "@dyetrace/site";
import { nameList, verb } from "../finding/wording.ts";
import { cutsOf } from "./path-cuts.ts";
import type { DeviceWitness, ReadTable } from "./suspect-weights.ts";

/** Advice of a finding that sends its reader to a table. */
const ASKS_FOR_TABLE = /\b(group )?table of the switch\b/;

/**
 * What to look at next once tables were read: what they said, in the place of a request to look at them.
 * @param suspects those that are left @returns the advice as it was where no table says anything
 */
export function adviceByTables(advice: string, witness: DeviceWitness, suspects: readonly string[]): string {
  const { path, tables } = witness;
  const lacking = tables.filter(({ isListed }) => !isListed);
  const place = ({ link }: ReadTable): string => planPlace(path.segments[link]?.from.node ?? "");
  const isReports = suspects.length > 0 && suspects.every((suspect) => cutsOf(path, suspect)[0]?.reportsLostAt != null);
  const [lowest] = lacking.toReversed();
  if (lowest !== undefined) {
    if (!isReports && !ASKS_FOR_TABLE.test(advice)) return advice;
    const port = path.segments[lowest.link]?.from.port;
    const follow = `Follow the membership reports from the listener ${path.listener} up to ${place(lowest)}, whose table lacks port ${port}: see whether they arrive there, and what on the way drops IGMP or ICMPv6, such as a filter, a firewall or a port without snooping in this VLAN.`;
    return isReports
      ? follow
      : `${follow} Where they do arrive, look at the link's state and error counters on both ports.`;
  }
  if (tables.length === 0 || !ASKS_FOR_TABLE.test(advice)) return advice;
  const nodes = [...new Set(tables.map(place))];
  return `${nameList(nodes)} ${verb(nodes, "list")} the port towards ${path.listener} for the group, so follow the frames: look at the link's state and error counters on both ports, and for a filter on what is sent there.`;
}
