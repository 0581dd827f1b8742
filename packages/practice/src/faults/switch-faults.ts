import { querierSteps, timerSettings } from "../build/build-steps.ts";
import { foreignPort, handReportsOn } from "../build/report-ways.ts";
import { ip, ipBatch, nft, type Step } from "../host/step.ts";
import { FOREIGN_QUERIER_ADDRESS } from "../layout/fixed-addresses.ts";
import type { NodeLayout } from "../layout/practice-layout.ts";
import type { PracticeTimers } from "../layout/practice-timers.ts";
import type { FaultGround, FaultPlan } from "./fault-plan.ts";
import { deleteTable } from "./frame-chain.ts";
import { QUERY_MATCHES } from "./frame-matches.ts";
import { forwarderAt, invalid, snooperAt } from "./places.ts";
import type { PracticeFaultOf, PracticeFaultWindow } from "./practice-fault.ts";

const bridgeSetting = ({ namespace, bridge }: NodeLayout, setting: string): Step =>
  ip(namespace, `link set ${bridge} type bridge ${setting}`);

export function planSnoopingOff({ on }: PracticeFaultWindow, ground: FaultGround): FaultPlan {
  const node = snooperAt(ground, on);
  return {
    claims: [`snooping ${on}`],
    apply: [bridgeSetting(node, "mcast_snooping 0"), ...handReportsOn(node, true)],
    undo: [bridgeSetting(node, "mcast_snooping 1"), ...handReportsOn(node, false)],
  };
}

/** The kernel's default (BR_MULTICAST_DEFAULT_HASH_MAX, net/bridge/br_private.h). */
const TABLE_SIZE = 4096;

/** A bridge that meets a group too many turns its snooping off and floods, and does not turn it on again by itself. */
export function planTableSize({ on, max }: PracticeFaultOf<"table-size">, ground: FaultGround): FaultPlan {
  const node = snooperAt(ground, on);
  return {
    claims: [`snooping ${on}`],
    apply: [bridgeSetting(node, `mcast_hash_max ${max}`)],
    undo: [bridgeSetting(node, `mcast_hash_max ${TABLE_SIZE}`), bridgeSetting(node, "mcast_snooping 1")],
  };
}

export function planIgmpVersion({ on, igmp, mld }: PracticeFaultOf<"igmp-version">, ground: FaultGround): FaultPlan {
  const node = snooperAt(ground, on);
  if (igmp === null && mld === null) throw invalid("A version is missing", "Write igmp: 2, or mld: 1, or both");
  const settings = [
    ...(igmp === null ? [] : [{ name: "mcast_igmp_version", value: igmp, built: 3 }]),
    ...(mld === null ? [] : [{ name: "mcast_mld_version", value: mld, built: 2 }]),
  ];
  return {
    claims: settings.map(({ name }) => `${name} ${on}`),
    apply: settings.map(({ name, value }) => bridgeSetting(node, `${name} ${value}`)),
    undo: settings.map(({ name, built }) => bridgeSetting(node, `${name} ${built}`)),
  };
}

/**
 * Off, the querier's bridge floods at once and the others when their other-querier timer runs out. Silent, it goes on
 * believing that it queries: memberships age out, and the stream stops behind it.
 */
export function planNoQuerier(
  { on, isSilent }: PracticeFaultOf<"no-querier">,
  ground: FaultGround,
  tag: string,
): FaultPlan {
  const node = snooperAt(ground, on);
  if (ground.queriers !== null && !ground.queriers.includes(on)) {
    throw invalid(`"${on}" is not the querier`, `Name the querier: ${ground.queriers.join(" or ")}`);
  }
  if (!isSilent) {
    return {
      claims: [`querier ${on}`],
      apply: [bridgeSetting(node, "mcast_querier 0")],
      undo: [bridgeSetting(node, "mcast_querier 1")],
    };
  }
  const ports = [...node.ports.values()].map(({ interfaceName }) => `"${interfaceName}"`).join(", ");
  const rules = QUERY_MATCHES.map((match) => `    oifname { ${ports} } ${match} drop`).join("\n");
  const chain = `  chain act {\n    type filter hook output priority 0; policy accept;\n${rules}\n  }`;
  return {
    claims: [`querier ${on}`],
    apply: [nft(node.namespace, `table bridge ${tag} {\n${chain}\n}\n`)],
    undo: [deleteTable(node.namespace, "bridge", tag)],
  };
}

/**
 * A foreign box with a lower address, plugged into a port of its own: the querier hears it and falls silent. When it is
 * unplugged, nobody queries until the querier's other-querier timer has run out.
 */
export function planSecondQuerier({ on }: PracticeFaultWindow, ground: FaultGround): FaultPlan {
  const node = forwarderAt(ground, on);
  const { namespace, bridge } = node;
  const box = "+querier"; // no node's namespace or port begins with a plus sign
  const plug = "+querier";
  return {
    claims: ["foreign querier"],
    apply: [
      ...foreignPort(node, plug, true),
      ipBatch(null, [`netns add ${box}`, `link add eth0 netns ${box} type veth peer name ${plug} netns ${namespace}`]),
      ipBatch(box, [
        `link add br0 type bridge mcast_snooping 1 mcast_igmp_version 3 mcast_mld_version 2 ${timerSettings(ground.timers)}`,
        "link set br0 up",
        "link set eth0 master br0 up",
      ]),
      ...querierSteps(
        { namespace: box, bridge: "br0" },
        { ...FOREIGN_QUERIER_ADDRESS, ipv4: `${FOREIGN_QUERIER_ADDRESS.ipv4}/16` },
        ground.hasIpv6,
      ),
      // Last: a box that hears the querier before it queries itself takes it for the elected one, and stays silent.
      ip(namespace, `link set ${plug} master ${bridge} up`),
    ],
    // A namespace goes some time after it was told to, the link at once.
    undo: [ip(namespace, `link del ${plug}`), { argv: ["ip", "netns", "del", box] }, ...foreignPort(node, plug, false)],
  };
}

export function planQuerierTimers(fault: PracticeFaultOf<"querier-timers">, ground: FaultGround): FaultPlan {
  const node = snooperAt(ground, fault.on);
  const changes = [
    ["queryIntervalMs", fault.queryIntervalMs],
    ["queryResponseIntervalMs", fault.responseIntervalMs],
    ["membershipIntervalMs", fault.membershipIntervalMs],
    ["lastMemberIntervalMs", fault.lastMemberIntervalMs],
  ] as const;
  const changed = changes.flatMap(([name, ms]) => (ms === null ? [] : [{ name, ms }]));
  if (changed.length === 0) throw invalid("No timer is named", "Write at least one, such as membership-interval: 4s");
  const settings = (timers: Partial<PracticeTimers>): Step => bridgeSetting(node, timerSettings(timers));
  return {
    claims: changed.map(({ name }) => `${name} ${fault.on}`),
    apply: [settings(Object.fromEntries(changed.map(({ name, ms }) => [name, ms])))],
    undo: [settings(Object.fromEntries(changed.map(({ name }) => [name, ground.timers[name]])))],
  };
}
