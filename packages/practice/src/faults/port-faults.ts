import { routerPortByFault } from "../build/report-ways.ts";
import { bridge, ip, type Step } from "../host/step.ts";
import { isForwarding } from "../layout/node-kinds.ts";
import type { FaultGround, FaultPlan } from "./fault-plan.ts";
import { groupFamily } from "./frame-matches.ts";
import { directionAt, invalid, networkPortAt, switchPortAt } from "./places.ts";
import type { PracticeFaultOf, PracticeFaultWindow } from "./practice-fault.ts";

/** The names that `bridge link set` has for what is on or off at a port, and off as built. */
const FLAGS = {
  "fast-leave": "fastleave",
  "to-unicast": "mcast_to_unicast",
  hairpin: "hairpin",
  isolated: "isolated",
} as const;

export function planPortFlag(fault: PracticeFaultOf<keyof typeof FLAGS>, ground: FaultGround): FaultPlan {
  const { on } = fault;
  const { node, port } = switchPortAt(ground, on);
  const flag = FLAGS[fault.fault as keyof typeof FLAGS];
  const set = (value: "on" | "off"): Step =>
    bridge(node.namespace, `link set dev ${port.interfaceName} ${flag} ${value}`);
  return { claims: [`${flag} ${on}`], apply: [set("on")], undo: [set("off")] };
}

/** As the kernel numbers them (MDB_RTR_TYPE_*, linux/if_bridge.h); as built, a port becomes one by hearing queries. */
const ROUTER_PORT = { never: 0, learned: 1, always: 2 } as const;

export function planRouterPort({ on, mode }: PracticeFaultOf<"router-port">, ground: FaultGround): FaultPlan {
  const { node, port } = switchPortAt(ground, on);
  const set = (value: keyof typeof ROUTER_PORT): Step =>
    bridge(node.namespace, `link set dev ${port.interfaceName} mcast_router ${ROUTER_PORT[value]}`);
  const reports = routerPortByFault(node, port, mode === "always");
  return {
    claims: [`router-port ${on}`],
    apply: [set(mode), ...reports.apply],
    undo: [set("learned"), ...reports.undo],
  };
}

const MTU_BYTES = 1500;
/** Below this the kernel takes nothing (ETH_MIN_MTU, linux/if_ether.h). */
const SMALLEST_MTU_BYTES = 68;
/** Below this it takes IPv6 off an interface, addresses and all (IPV6_MIN_MTU, net/ipv6.h; RFC 8200 section 5). */
const SMALLEST_ROUTER_MTU_BYTES = 1280;

export function planMtu({ on, sizeBytes }: PracticeFaultOf<"mtu">, ground: FaultGround): FaultPlan {
  const { node, port } = networkPortAt(ground, on);
  const smallestBytes = node.kind === "router" ? SMALLEST_ROUTER_MTU_BYTES : SMALLEST_MTU_BYTES;
  if (sizeBytes < smallestBytes || sizeBytes >= MTU_BYTES) {
    throw invalid(`${sizeBytes} B is no smaller MTU`, `Write a size from ${smallestBytes} B to ${MTU_BYTES - 1} B`);
  }
  const set = (mtuBytes: number): Step => ip(node.namespace, `link set ${port.interfaceName} mtu ${mtuBytes}`);
  return { claims: [`mtu ${on}`], apply: [set(sizeBytes)], undo: [set(MTU_BYTES)] };
}

/** Both directions at once, taken down at a forwarding end: taken down at the host, the host would lose its addresses. */
export function planLinkDown({ on }: PracticeFaultWindow, ground: FaultGround): FaultPlan {
  const { from, to } = directionAt(ground, on);
  const end = [from, to].find(({ node }) => isForwarding(node.kind));
  if (end === undefined) throw invalid(`"${on}" joins two hosts`, "Name a link that has a switch at one end");
  const set = (state: "down" | "up"): Step => ip(end.node.namespace, `link set ${end.port.interfaceName} ${state}`);
  return { claims: [`link ${end.node.name}:${end.port.port}`], apply: [set("down")], undo: [set("up")] };
}

export function planStaticEntry({ on, group }: PracticeFaultOf<"static-entry">, ground: FaultGround): FaultPlan {
  const { node, port } = switchPortAt(ground, on);
  groupFamily(group);
  const entry = `dev ${node.bridge} port ${port.interfaceName} grp ${group}`;
  const mdb = `bridge -n ${node.namespace} mdb`;
  return {
    claims: [`entry ${on} ${group}`],
    // An entry that the port learned from a member would be in the way. After the undo, the next report brings it back.
    apply: [{ argv: ["sh", "-c", `${mdb} del ${entry} 2>/dev/null; exec ${mdb} add ${entry} permanent`] }],
    undo: [bridge(node.namespace, `mdb del ${entry}`)],
  };
}

/** The kernel's shortest forward delay with spanning tree on (BR_MIN_FORWARD_DELAY, net/bridge/br_private_stp.h). */
const SHORTEST_HOLD_MS = 4_000;
const FORWARD_DELAY_HUNDREDTHS = 1_500;

/** The port is re-plugged on a switch with spanning tree: it listens for half of the time, then learns, then forwards. */
export function planForwardDelay({ on, holdMs }: PracticeFaultOf<"forward-delay">, ground: FaultGround): FaultPlan {
  const { node, port } = switchPortAt(ground, on);
  if (holdMs < SHORTEST_HOLD_MS)
    throw invalid(`A port is held for at least 4 s, not ${holdMs / 1000} s`, "Write hold: 4s");
  const { namespace } = node;
  const link = `link set ${port.interfaceName}`;
  return {
    claims: [`spanning tree ${node.name}`, `link ${on}`],
    apply: [
      ip(namespace, `link set ${node.bridge} type bridge stp_state 1 forward_delay ${Math.round(holdMs / 20)}`),
      ip(namespace, `${link} down`),
      ip(namespace, `${link} up`),
    ],
    undo: [
      ip(namespace, `link set ${node.bridge} type bridge stp_state 0`),
      ip(namespace, `link set ${node.bridge} type bridge forward_delay ${FORWARD_DELAY_HUNDREDTHS}`),
      bridge(namespace, `link set dev ${port.interfaceName} state 3`),
    ],
  };
}
