import { planPlace } from "@dyetrace/site";
import type { Finding } from "../../../packages/locate/src/finding/finding.ts";
import type { Observed } from "./observed.ts";

/** A place as titles give it: from the port where it begins to the one where it ends, or one node. */
export const PLACE =
  "(?:between (?<from>[^ ]+) and (?<to>[^ ]+)(?: by way of [^ ]+)?(?: in VLAN [0-9]+)?|in (?<node>[^ ,:;]+))";

/** Titles lead to the first suspect: the place begins with it, and all of it is suspect. */
export function misplaced(part: (name: string) => string, { suspects }: Finding, { graph }: Observed): string | null {
  const [chief = ""] = suspects;
  const [from, to, node] = [part("from"), part("to"), part("node")];
  if (node !== "") return node === chief ? null : `${node} is not the first suspect`;
  if (!chief.startsWith(`${from}>`)) return `${from} is not where the first suspect begins`;
  // Link after link, each of them suspect, down to the end that is named.
  let at = suspects.find((name) => name.startsWith(`${from}>`));
  for (let steps = 0; steps < graph.links.length && at !== undefined; steps++) {
    if (at.endsWith(`>${to}`)) return null;
    const arrived = at.split(">")[1]?.split(":")[0];
    const [here] = [at];
    at = suspects.find((name) => name.startsWith(`${arrived}:`) && name !== reverseOf(here));
  }
  return `no suspects lead from ${from} to ${to}`;
}

const reverseOf = (segment: string): string => planPlace(segment).split(">").toReversed().join(">");
