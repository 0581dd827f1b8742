import { formatRateBps } from "@dyetrace/wire";
import type { PortRef } from "../model/site-model.ts";
import type { Drawing, DrawnLink, DrawnNode } from "./drawing.ts";

/** The drawing as a plan file: each line says on what it rests, and `?` marks what has to be answered. */
export function writeDrawnPlan(drawing: Drawing): string {
  const { site, vlans, nodes, links, questions } = drawing;
  const lines = [
    "# Drawn from what agents and switches said. Look at it, correct it, and keep it: the written plan is what counts.",
    "# Each line says on what it rests. `seen`: somebody announced it. `concluded`: it follows from tables. `?`: nobody saw it.",
    ...(questions.length === 0 ? [] : ["#", "# Questions:", ...questions.map((question) => `# ? ${plain(question)}`)]),
    `site: ${quoted(site)}`,
    ...(vlans.size === 0 ? [] : ["vlans:"]),
    ...[...vlans].map(([vlan, { ipv4, ipv6 }]) => {
      const known = [ipv4 === null ? [] : `ipv4: ${ipv4}`, ipv6 === null ? [] : `ipv6: "${ipv6}"`].flat().join(", ");
      return known === "" ? `  ${vlan}: {}` : `  ${vlan}: { ${known} }`;
    }),
    "nodes:",
    ...nodes.map(nodeLine),
    "links:",
    ...links.map(linkLine),
  ];
  return `${lines.join("\n")}\n`;
}

/** One line of a plan's nodes, two spaces deep. */
export function nodeLine({ name, kind, agent, addresses, management, by, because }: DrawnNode): string {
  const keys = [
    `kind: ${kind}`,
    ...(kind === "host" && agent === null ? ["agent: none"] : []),
    ...(agent !== null && agent !== name ? [`agent: ${quoted(agent)}`] : []),
    ...(addresses.length === 0 ? [] : [`addresses: [${addresses.map((address) => `"${address}"`).join(", ")}]`]),
    ...(management === null ? [] : [`management: "${management}"`]),
  ];
  return `  ${name}: { ${keys.join(", ")} }${comment(by, because)}`;
}

/** One line of a plan's links, two spaces deep. */
export function linkLine({ a, b, speedBps, vlans, isBlocked, by, because }: DrawnLink): string {
  const [only, ...more] = vlans;
  const keys = [
    ...(speedBps === null ? [] : [`speed: ${formatRateBps(speedBps)}`]),
    ...(only === undefined ? [] : [more.length === 0 ? `vlan: ${only}` : `vlan: [${vlans.join(", ")}]`]),
    ...(isBlocked ? ["blocked: true"] : []),
  ];
  const ends = [a, b].map(ref);
  const text = keys.length === 0 ? ends.join(" -- ") : `{ between: [${ends.join(", ")}], ${keys.join(", ")} }`;
  return `  - ${text}${comment(by, because)}`;
}

const ref = ({ node, port }: PortRef): string => `${node}:${port}`;

const comment = (by: DrawnNode["by"], because: string): string =>
  `  # ${by === "open" ? "? " : `${by}: `}${plain(because)}`;

/** What others announced stands in comments: one line each. */
const plain = (text: string): string => text.replace(/[\r\n\u0085\u2028\u2029]+/g, " ");

const quoted = (text: string): string => (/^[A-Za-z][A-Za-z0-9 -]*$/.test(text) ? text : JSON.stringify(text));
