import type { PracticeFault } from "../practice-fault.ts";
import type { FaultGround, FaultPlan } from "./fault-plan.ts";
import { planHostFirewall, planReversePath } from "./host-faults.ts";
import { planDrop, planDropMembership, planDuplicate, planRateLimit } from "./packet-faults.ts";
import {
  planForwardDelay,
  planLinkDown,
  planMtu,
  planPortFlag,
  planRouterPort,
  planStaticEntry,
} from "./port-faults.ts";
import { planReorder } from "./reorder-fault.ts";
import {
  planIgmpVersion,
  planNoQuerier,
  planQuerierTimers,
  planSecondQuerier,
  planSnoopingOff,
  planTableSize,
} from "./switch-faults.ts";

/**
 * @param tag a name in lower-case letters and digits that no other standing fault of the site has
 * @throws {Fault} PRACTICE_FAULT_INVALID if the fault does not fit the site
 */
export function planFault(fault: PracticeFault, ground: FaultGround, tag: string): FaultPlan {
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
      return planLinkDown(fault, ground);
    case "static-entry":
      return planStaticEntry(fault, ground);
    case "forward-delay":
      return planForwardDelay(fault, ground);
    case "host-firewall":
      return planHostFirewall(fault, ground, tag);
    case "reverse-path":
      return planReversePath(fault, ground);
    case "reorder":
      return planReorder(fault, ground, tag);
  }
}
