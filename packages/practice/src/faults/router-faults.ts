import { domainsOfLinks, routerChoices } from "@dyetrace/site";
import { ip, nft, type Step } from "../host/step.ts";
import type { NodeLayout } from "../layout/practice-layout.ts";
import { rendezvousPoint, suiteCommand } from "../routing/pim-suite.ts";
import { planRoutes } from "../routing/routes.ts";
import type { FaultGround, FaultPlan } from "./fault-plan.ts";
import { deleteTable } from "./frame-chain.ts";
import { both, groupFamily, groupMatches } from "./frame-matches.ts";
import { addressAt, directionAt, invalid, routerAt } from "./places.ts";
import type { PracticeFaultOf, PracticeFaultWindow } from "./practice-fault.ts";

/** The router drops one group between its interfaces, whoever sends it. */
export function planNotForwarding(
  { on, group }: PracticeFaultOf<"not-forwarding">,
  ground: FaultGround,
  tag: string,
): FaultPlan {
  const node = routerAt(ground, on);
  groupFamily(group);
  return { claims: [], ...forwardChain(node, groupMatches(group), tag) };
}

/** An access list on one interface of a router, in or out as the segment leads. */
export function planAccessList(
  { on, group, source }: PracticeFaultOf<"access-list">,
  ground: FaultGround,
  tag: string,
): FaultPlan {
  const { from, to } = directionAt(ground, on);
  const end = to.node.kind === "router" ? to : from;
  if (end.node.kind !== "router") throw invalid(`"${on}" leads to no router`, "Name a segment into or out of one");
  const interfaceMatch = `${end === to ? "iifname" : "oifname"} "${end.port.interfaceName}"`;
  const sources = source === null ? [""] : sourceMatches(ground, source);
  const fitting = both(sources, groupMatches(group)).filter((match) => !(/\bip /.test(match) && /\bip6 /.test(match)));
  return { claims: [], ...forwardChain(end.node, both([interfaceMatch], fitting), tag) };
}

function sourceMatches(ground: FaultGround, source: string): readonly string[] {
  const { ipv4, ipv6 } = addressAt(ground, source);
  return [`ip saddr ${ipv4}`, `ip6 saddr ${ipv6}`];
}

function forwardChain(
  { namespace }: NodeLayout,
  matches: readonly string[],
  tag: string,
): Pick<FaultPlan, "apply" | "undo"> {
  const rules = matches.map((match) => `    ${match} drop`).join("\n");
  const chain = `  chain act {\n    type filter hook forward priority 0; policy accept;\n${rules}\n  }`;
  return {
    apply: [nft(namespace, `table inet ${tag} {\n${chain}\n}\n`)],
    undo: [deleteTable(namespace, "inet", tag)],
  };
}

/**
 * The router's unicast route to the source leads out of another interface than the one at which its packets come in, so
 * they fail the reverse-path check (RFC 7761 section 4.2). In both families.
 */
export function planRouterReversePath({ on, source }: PracticeFaultOf<"reverse-path">, ground: FaultGround): FaultPlan {
  const node = routerAt(ground, on);
  const { site } = ground.layout;
  const domains = domainsOfLinks(site);
  const upstream = routerChoices(site, source)[0]?.upstream.get(on);
  const wrong = [...node.ports.values()].find(
    ({ link }) => upstream !== undefined && domains.get(link) !== domains.get(upstream.link),
  );
  if (wrong === undefined)
    throw invalid(`"${on}" has no other interface than the one towards "${source}"`, "Name another router");
  const { ipv4, ipv6 } = addressAt(ground, source);
  const routes = [
    `${ipv4}/32 dev ${wrong.interfaceName}`,
    ...(ground.hasIpv6 ? [`${ipv6}/128 dev ${wrong.interfaceName}`] : []),
  ];
  return {
    claims: [`reverse path ${on} ${source}`],
    apply: routes.map((route) => ip(node.namespace, `route add ${route}`)),
    undo: routes.map((route) => ip(node.namespace, `route del ${route}`)),
  };
}

/** The router forgets which router is the rendezvous point; joins that name their source need none. */
export function planNoRendezvousPoint({ on }: PracticeFaultWindow, ground: FaultGround): FaultPlan {
  const node = routerAt(ground, on);
  if (ground.routing === "memberships") {
    throw invalid("No router of this site needs a rendezvous point", "Raise the site with PIM sparse mode");
  }
  const { routerConfig } = planRoutes(ground.layout);
  const routers = [...ground.layout.nodes.values()].filter(({ kind }) => kind === "router");
  const point = rendezvousPoint(routers.map((one) => ({ ...one, config: routerConfig(one.name, ground.timers, []) })));
  const configure = (line: string): Step => ({
    argv: suiteCommand(node.namespace, on, ["configure terminal", line]),
  });
  return {
    claims: [`rendezvous point ${on}`],
    apply: [configure(`no ip pim rp ${point} 224.0.0.0/4`)],
    undo: [configure(`ip pim rp ${point} 224.0.0.0/4`)],
  };
}
