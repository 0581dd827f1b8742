import { bridge, ip, ipBatch, type Step, sysctl } from "../host/step.ts";
import { MANAGEMENT_ADDRESS } from "../layout/fixed-addresses.ts";
import { isForwarding, isSnooping } from "../layout/node-kinds.ts";
import { type NodeLayout, type PortLayout, type PracticeLayout, portOfLink } from "../layout/practice-layout.ts";
import type { PracticeTimers } from "../layout/practice-timers.ts";
import { planRoutes, routerPorts, type SiteRoutes, subnetText } from "../routing/routes.ts";
import type { Talker } from "../talk/talkers.ts";
import { keepReports, keepsReports } from "./report-ways.ts";

/** Steps of one phase may run at the same time; the phases follow each other. */
export type Phase = readonly Step[];

/** The commands that build a site, without its querier, inside fresh namespaces. */
export function buildSteps(
  layout: PracticeLayout,
  timers: PracticeTimers,
  hasIpv6: boolean,
  talkers: readonly Talker[] = [],
): readonly Phase[] {
  const nodes = [...layout.nodes.values()];
  const namespaces = [...new Set(nodes.map(({ namespace }) => namespace))].map((name) => `netns add ${name}`);
  const routes = planRoutes(layout);
  const ends = { layout, routes, hasIpv6 };
  const towardsRouters = routerPorts(layout);
  const reportsOf = (node: NodeLayout): Step => {
    const own = towardsRouters.filter(
      ({ namespace, interfaceName: name }) =>
        namespace === node.namespace && [...node.ports.values()].some(({ interfaceName }) => interfaceName === name),
    );
    return keepReports(
      node,
      own.map(({ interfaceName }) => interfaceName),
      timers.otherQuerierIntervalMs,
    );
  };
  return [
    [ipBatch(null, ["link set lo up", ...namespaces, ...managementBridge])],
    nodes.map(settings),
    [
      ipBatch(null, [
        ...nodes.flatMap((node) => links(layout, node)),
        ...nodes.flatMap(managementLink),
        ...talkers.flatMap(talkerLink),
      ]),
    ],
    [
      ...nodes.map((node) =>
        isForwarding(node.kind) ? forwarder(node, ownTimers(layout, node, timers)) : endpoint(node, ends),
      ),
      ...nodes.filter(keepsReports).map(reportsOf),
      ...talkers.map(({ name, management }) =>
        ipBatch(name, ["link set mgmt0 multicast off up", `address add ${management}/16 dev mgmt0`]),
      ),
    ],
    towardsRouters.map(({ namespace, interfaceName }) =>
      bridge(namespace, `link set dev ${interfaceName} mcast_router 2`),
    ),
  ];
}

/** The management network is a bridge of the practice host's own, with no multicast on it. */
const managementBridge = [
  "link add mgmt type bridge mcast_snooping 0",
  "link set mgmt multicast off",
  `address add ${MANAGEMENT_ADDRESS}/16 dev mgmt`,
  "link set mgmt up",
];

/** Unlike the other end's, for the reason given at the tested network's indexes. */
const MANAGEMENT_INTERFACE_INDEX = 100_000;

const managementLink = (node: NodeLayout): string[] =>
  node.kind === "host"
    ? linkToManagement(`m${node.index}`, MANAGEMENT_INTERFACE_INDEX + node.index, node.namespace)
    : [];

/** Of switches that are asked for their tables. */
const talkerLink = ({ name }: Talker, number: number): string[] =>
  linkToManagement(`t${number}`, 2 * MANAGEMENT_INTERFACE_INDEX + number, name);

const linkToManagement = (end: string, index: number, namespace: string): string[] => [
  `link add ${end} index ${index} type veth peer name mgmt0 netns ${namespace}`,
  `link set ${end} multicast off master mgmt up`,
];

/** Before the interfaces exist, so that they take these as their defaults. */
const settings = (node: NodeLayout): Step =>
  sysctl(
    node.namespace,
    isForwarding(node.kind)
      ? {
          // Bridge netfilter would put large frames together and cut them again.
          "net/bridge/bridge-nf-call-iptables": 0,
          "net/bridge/bridge-nf-call-ip6tables": 0,
          "net/bridge/bridge-nf-call-arptables": 0,
          // A switch with an address in two VLANs is no router.
          "net/ipv4/ip_forward": 0,
          // A switch has no hosts' groups of its own in its table.
          "net/ipv6/conf/default/disable_ipv6": 1,
          "net/ipv6/conf/default/accept_dad": 0,
        }
      : {
          "net/ipv4/conf/all/rp_filter": 0,
          "net/ipv4/conf/default/rp_filter": 0,
          "net/ipv4/conf/all/force_igmp_version": 0,
          "net/ipv4/conf/default/force_igmp_version": 0,
          "net/ipv6/conf/all/force_mld_version": 0,
          "net/ipv6/conf/default/force_mld_version": 0,
          "net/ipv6/conf/all/disable_ipv6": 0,
          "net/ipv6/conf/default/disable_ipv6": 0,
          // Nobody else is here: addresses need no second of duplicate detection.
          "net/ipv6/conf/all/accept_dad": 0,
          "net/ipv6/conf/default/accept_dad": 0,
          "net/ipv6/conf/default/router_solicitations": 0,
          "net/ipv4/ip_forward": node.kind === "router" ? 1 : 0,
          "net/ipv6/conf/all/forwarding": node.kind === "router" ? 1 : 0,
          "net/ipv6/conf/default/forwarding": node.kind === "router" ? 1 : 0,
        },
  );

/** Each link once, from its end `a`. */
function links(layout: PracticeLayout, node: NodeLayout): string[] {
  return [...node.ports.values()].flatMap((port) => {
    const there = layout.nodes.get(port.peer.node);
    const other = there === undefined ? undefined : portOfLink(there, port.link);
    if (there === undefined || other === undefined || !port.isFirstEnd) return [];
    const end = (namespace: string, { interfaceName, interfaceIndex, mac }: PortLayout): string =>
      `name ${interfaceName} index ${interfaceIndex} netns ${namespace} address ${mac}`;
    return [`link add ${end(node.namespace, port)} type veth peer ${end(there.namespace, other)}`];
  });
}

/** A switch keeps memberships for as long as the plan says. */
function ownTimers({ site }: PracticeLayout, { name }: NodeLayout, timers: PracticeTimers): PracticeTimers {
  const { membershipTimeMs } = site.nodes.get(name) ?? {};
  return membershipTimeMs === undefined ? timers : { ...timers, membershipIntervalMs: membershipTimeMs };
}

function forwarder(node: NodeLayout, timers: PracticeTimers): Step {
  return ipBatch(node.namespace, [
    "link set lo up",
    `link add ${node.bridge} type bridge mcast_snooping ${isSnooping(node.kind) ? 1 : 0} mcast_stats_enabled 1 ` +
      `mcast_igmp_version 3 mcast_mld_version 2 ${timerSettings(timers)}`,
    // Set by hand, and to a changed value, the bridge's own MTU no longer follows the smallest of its ports.
    `link set ${node.bridge} mtu 1400`,
    `link set ${node.bridge} mtu 1500`,
    `link set ${node.bridge} up`,
    ...[...node.ports.values()].map(({ interfaceName }) => `link set ${interfaceName} master ${node.bridge} up`),
  ]);
}

/** The settings of `ip link … type bridge`; the kernel counts in hundredths of a second. */
export function timerSettings(timers: Partial<PracticeTimers>): string {
  const settings: readonly (readonly [string, number | undefined])[] = [
    ["mcast_query_interval", hundredths(timers.queryIntervalMs)],
    ["mcast_query_response_interval", hundredths(timers.queryResponseIntervalMs)],
    ["mcast_startup_query_interval", hundredths(timers.startupQueryIntervalMs)],
    ["mcast_startup_query_count", timers.startupQueries],
    ["mcast_membership_interval", hundredths(timers.membershipIntervalMs)],
    ["mcast_querier_interval", hundredths(timers.otherQuerierIntervalMs)],
    ["mcast_last_member_interval", hundredths(timers.lastMemberIntervalMs)],
    ["mcast_last_member_count", timers.lastMemberQueries],
  ];
  return settings.flatMap(([name, value]) => (value === undefined ? [] : [`${name} ${value}`])).join(" ");
}

const hundredths = (ms: number | undefined): number | undefined => (ms === undefined ? undefined : Math.round(ms / 10));

interface EndpointGround {
  readonly layout: PracticeLayout;
  readonly routes: SiteRoutes;
  readonly hasIpv6: boolean;
}

/** A host, or a router with its interfaces: addresses, and routes to the other subnets. */
function endpoint(node: NodeLayout, { layout, routes, hasIpv6 }: EndpointGround): Step {
  const ports = [...node.ports.values()];
  const isHost = node.kind === "host";
  const links = ports.flatMap(({ address, link, interfaceName: name }) => {
    if (address === null) return [];
    const { ipv4, ipv6 } = layout.addresses.subnetsOf(link);
    return [
      ...(address.management === null ? [] : [`address add ${address.management}/16 dev mgmt0`]),
      `link set ${name} up`,
      `address add ${address.ipv4}/${ipv4.prefixBits} dev ${name}`,
      ...(hasIpv6 ? [`address add ${address.ipv6}/${ipv6.prefixBits} dev ${name} nodad`] : []),
      ...(isHost ? [`route add 224.0.0.0/4 dev ${name}`] : []),
    ];
  });
  const gateways = routes
    .unicastOf(node.name)
    .flatMap(({ to, via }) => [
      `route add ${subnetText(to.ipv4)} via ${via.ipv4}`,
      ...(hasIpv6 ? [`route add ${subnetText(to.ipv6)} via ${via.ipv6}`] : []),
    ]);
  return ipBatch(node.namespace, [
    "link set lo up",
    ...(isHost ? ["link set mgmt0 addrgenmode none multicast off up"] : []),
    ...links,
    ...gateways,
  ]);
}

/** To run when every bridge can hear the first query: a bridge floods until it has heard one. */
export function querierOn(layout: PracticeLayout, hasIpv6: boolean): readonly Step[] {
  return layout.queriers.flatMap(({ node: name, ipv4, ipv4PrefixBits, ipv6 }) => {
    const node = layout.nodes.get(name);
    const address = { ipv4: `${ipv4}/${ipv4PrefixBits}`, ipv6 };
    return node === undefined ? [] : querierSteps(node, address, hasIpv6);
  });
}

/**
 * To run one after the other: addresses first, for an MLD query needs a link-local source and the election goes by
 * address, and the timers must be set before a bridge begins to query.
 * @param address IPv4 with the length of its subnet's prefix
 */
export const querierSteps = (
  { namespace, bridge: name }: Pick<NodeLayout, "namespace" | "bridge">,
  address: { readonly ipv4: string; readonly ipv6: string },
  hasIpv6: boolean,
): readonly Step[] => [
  ip(namespace, `link set ${name} addrgenmode none`),
  sysctl(namespace, { [`net/ipv6/conf/${name}/disable_ipv6`]: 0 }),
  ipBatch(namespace, [
    `address add ${address.ipv4} dev ${name}`,
    ...(hasIpv6 ? [`address add ${address.ipv6}/64 dev ${name} nodad`] : []),
    `link set ${name} type bridge mcast_query_use_ifaddr 1`,
  ]),
  ip(namespace, `link set ${name} type bridge mcast_querier 1`),
];
