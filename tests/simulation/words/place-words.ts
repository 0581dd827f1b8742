import { planPlace } from "@dyetrace/site";
import type { Finding } from "../../../packages/locate/src/finding/finding.ts";

/** A place as titles give it: from the port where it begins to the one where it ends, or one node. */
export const PLACE =
  "(?:between (?<from>[^ ]+) and (?<to>[^ ]+)(?: by way of [^ ]+)?(?: in VLAN [0-9]+)?|in (?<node>[^ ,:;]+))";

/** Titles lead to the first suspect: the place begins with it, and all of it is suspect. */
export function misplaced(part: (name: string) => string, { suspects }: Finding): string | null {
  const [chief = ""] = suspects;
  const [from, to, node] = [part("from"), part("to"), part("node")];
  if (node !== "") return node === chief || node === planPlace(chief) ? null : `${node} is not the first suspect`;
  if (!chief.startsWith(`${from}>`)) return `${from} is not where the first suspect begins`;
  // Link after link, each of them suspect, down to the end that is named.
  const links = [...new Set(suspects.map(planPlace))].filter((name) => name.includes(">"));
  let reached = links.filter((link) => link.startsWith(`${from}>`));
  for (let steps = 0; steps < links.length; steps++) {
    if (reached.some((link) => link.endsWith(`>${to}`))) return null;
    const nodes = new Set(reached.map((link) => link.split(">")[1]?.split(":")[0]));
    reached = links.filter((link) => nodes.has(link.split(":")[0]));
  }
  return `no suspects lead from ${from} to ${to}`;
}
