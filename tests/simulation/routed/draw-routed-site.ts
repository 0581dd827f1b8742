import { buildSiteGraph, type SiteGraph, type SiteLink, type SiteNode, type SiteVlan } from "@dyetrace/site";
import { drawInteger, drawOne, drawSome, type Random } from "../seeded-random.ts";

export interface RoutedSiteOptions {
  /** With at least one router more than join the VLANs into one: a ring, or a second router between two. */
  readonly hasSpareRouter?: boolean;
  /** Whether the plan tells the routers' addresses. */
  readonly hasAddresses?: boolean;
}

/**
 * A tree of switches with 2 to 4 VLANs on it and 2 to 4 routers between them, in a row or a star of VLANs, with a ring or
 * a second router between two VLANs now and then. Hosts on all sides. Each VLAN has a querier, a switch or a router.
 */
export function drawRoutedSite(
  random: Random,
  { hasSpareRouter = random() < 0.5, hasAddresses = random() < 0.6 }: RoutedSiteOptions = {},
): SiteGraph {
  const vlanNumbers = drawSome(
    random,
    [10, 20, 30, 40],
    drawInteger(random, hasSpareRouter ? 2 : 3, hasSpareRouter ? 3 : 4),
  );
  const pairs = vlanNumbers
    .slice(1)
    .map((vlan, i) => [vlan, random() < 0.6 ? vlanNumbers[i] : drawOne(random, vlanNumbers.slice(0, i + 1))]);
  if (hasSpareRouter) {
    const isSecond = vlanNumbers.length < 3 || random() < 0.4;
    pairs.push(isSecond ? [...drawOne(random, pairs)] : [vlanNumbers.at(-1), vlanNumbers[0]]);
  }
  const switches = ["core", ...Array.from({ length: drawInteger(random, 1, 4) }, (_, i) => `sw${i + 1}`)];
  const nodes = new Map<string, SiteNode>();
  const ports = new Map<string, number>();
  const links: SiteLink[] = [];
  const add = (name: string, kind: SiteNode["kind"], addresses?: readonly string[]): void => {
    const agent = kind === "host" ? name : null;
    nodes.set(name, { name, kind, isQuerier: false, agent, ...(addresses === undefined ? {} : { addresses }) });
  };
  const end = (node: string) => {
    const port = (ports.get(node) ?? 0) + 1;
    ports.set(node, port);
    return { node, port: String(port) };
  };
  const link = (a: string, b: string, vlans: readonly number[], cost?: number): void => {
    const ascending = [...vlans].sort((x, y) => x - y);
    links.push({
      index: links.length,
      a: end(a),
      b: end(b),
      speedBps: null,
      vlans: ascending,
      ...(cost === undefined ? {} : { cost }),
    });
  };
  for (const [i, name] of switches.entries()) {
    add(name, "switch");
    if (i > 0) link(drawOne(random, switches.slice(0, i)), name, vlanNumbers);
  }
  const numbers = drawSome(random, [1, 2, 3, 4, 5, 6], pairs.length);
  for (const [i, pair] of pairs.entries()) {
    const name = `rt${i + 1}`;
    const vlans = pair.filter((vlan) => vlan !== undefined);
    add(name, "router", hasAddresses ? vlans.map((vlan) => `10.78.${vlan}.${numbers[i]}`) : undefined);
    const cost = random() < 0.25 ? drawInteger(random, 2, 3) : undefined;
    if (random() < 0.5) link(drawOne(random, switches), name, vlans, cost);
    else for (const vlan of vlans) link(drawOne(random, switches), name, [vlan], cost);
  }
  let hosts = 0;
  for (const vlan of vlanNumbers) {
    const others = random() < 0.3 ? [`um${vlan}`] : [];
    for (const name of others) {
      add(name, "unmanaged");
      link(drawOne(random, switches), name, [vlan]);
    }
    const count = drawInteger(random, 2, 5);
    for (let i = 0; i < count; i++) {
      const name = `h${hosts++}`;
      add(name, "host");
      link(drawOne(random, [...switches, ...others]), name, [vlan]);
    }
  }
  const vlans = new Map(
    vlanNumbers.map((number): [number, SiteVlan] => {
      const routers = [...nodes.values()].filter(
        ({ name, kind }) =>
          kind === "router" && links.some(({ b, vlans }) => b.node === name && vlans?.includes(number)),
      );
      const querier = random() < 0.5 ? drawOne(random, switches) : drawOne(random, routers).name;
      return [number, { number, name: null, ipv4: `10.78.${number}.0/24`, ipv6: null, querier }];
    }),
  );
  const queriers = new Set([...vlans.values()].map(({ querier }) => querier));
  const all = [...nodes.values()].map((node) => ({ ...node, isQuerier: queriers.has(node.name) }));
  return buildSiteGraph("routed", all, links, vlans);
}
