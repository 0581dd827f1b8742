import type { FaultGround, FaultPlan } from "./fault-plan.ts";
import { planHostFirewall, planHostReversePath } from "./host-faults.ts";
import { planDrop, planDropMembership, planDuplicate, planRateLimit } from "./packet-faults.ts";
import { invalid, placesInVlans } from "./places.ts";
import {
  planForwardDelay,
  planLinkDown,
  planMtu,
  planPortFlag,
  planRouterPort,
  planStaticEntry,
} from "./port-faults.ts";
import type { PracticeFault } from "./practice-fault.ts";
import { planReorder } from "./reorder-fault.ts";
import { planAccessList, planNoRendezvousPoint, planNotForwarding, planRouterReversePath } from "./router-faults.ts";
import {
  planIgmpVersion,
  planNoQuerier,
  planQuerierTimers,
  planSecondQuerier,
  planSnoopingOff,
  planTableSize,
} from "./switch-faults.ts";

/**
 * A fault on a place that carries several VLANs is put in in each of them, or in the one that it names.
 * @param tag a name in lower-case letters and digits that no other standing fault of the site has
 * @throws {Fault} PRACTICE_FAULT_INVALID if the fault does not fit the site
 */
export function planFault(fault: PracticeFault, ground: FaultGround, tag: string): FaultPlan {
  const plans = placesInVlans(ground, fault.on, fault.vlan ?? null).map((on, number) =>
    planAt({ ...fault, on }, ground, number === 0 ? tag : `${tag}n${number}`),
  );
  const [first] = plans;
  if (first === undefined || plans.length === 1) return first ?? planAt(fault, ground, tag);
  if (
    plans.some(({ helper }) => helper !== undefined) ||
    new Set(plans.flatMap(({ claims }) => claims)).size < plans.flatMap(({ claims }) => claims).length
  ) {
    throw invalid(
      `"${fault.on}" carries ${plans.length} VLANs, and this fault fits into one`,
      "Write vlan: and its number beside it",
    );
  }
  return {
    claims: plans.flatMap(({ claims }) => claims),
    apply: plans.flatMap(({ apply }) => apply),
    undo: plans.toReversed().flatMap(({ undo }) => undo),
  };
}

function planAt(fault: PracticeFault, ground: FaultGround, tag: string): FaultPlan {
  switch (fault.fault) {
    case "drop":
      return planDrop(fault, ground, tag);
    case "duplicate":
      return planDuplicate(fault, ground, tag);
    case "rate-limit":
      return planRateLimit(fault, ground, tag);
    case "drop-queries":
    case "drop-reports":
    case "drop-leaves":
      return planDropMembership(fault, ground, tag);
    case "snooping-off":
      return planSnoopingOff(fault, ground);
    case "table-size":
      return planTableSize(fault, ground);
    case "igmp-version":
      return planIgmpVersion(fault, ground);
    case "no-querier":
      return planNoQuerier(fault, ground, tag);
    case "second-querier":
      return planSecondQuerier(fault, ground);
    case "querier-timers":
      return planQuerierTimers(fault, ground);
    case "fast-leave":
    case "to-unicast":
    case "hairpin":
    case "isolated":
      return planPortFlag(fault, ground);
    case "router-port":
      return planRouterPort(fault, ground);
    case "mtu":
      return planMtu(fault, ground);
    case "link-down":
    case "vlan-missing":
      return planLinkDown(fault, ground);
    case "static-entry":
      return planStaticEntry(fault, ground);
    case "forward-delay":
      return planForwardDelay(fault, ground);
    case "host-firewall":
      return planHostFirewall(fault, ground, tag);
    case "reverse-path":
      return ground.graph.nodes.get(fault.on)?.kind === "router"
        ? planRouterReversePath(fault, ground)
        : planHostReversePath(fault, ground);
    case "no-rendezvous-point":
      return planNoRendezvousPoint(fault, ground);
    case "not-forwarding":
      return planNotForwarding(fault, ground, tag);
    case "access-list":
      return planAccessList(fault, ground, tag);
    case "reorder":
      return planReorder(fault, ground, tag);
  }
}
