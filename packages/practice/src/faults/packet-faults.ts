import { tc } from "../host/step.ts";
import type { FaultGround, FaultPlan } from "./fault-plan.ts";
import { type FrameHook, frameChain, hookOn } from "./frame-chain.ts";
import {
  both,
  groupMatches,
  LEAVE_MATCHES,
  largerThan,
  QUERY_MATCHES,
  REPORT_MATCHES,
  shareMatch,
} from "./frame-matches.ts";
import { directionAt, hostAt, invalid, networkNodeAt } from "./places.ts";
import type { PracticeFaultOf } from "./practice-fault.ts";

/** On a segment, or on a node: then on the way into it, before it makes its copies. */
export function planDrop(fault: PracticeFaultOf<"drop">, ground: FaultGround, tag: string): FaultPlan {
  const { on, group, largerThanBytes, share } = fault;
  const hook = on.includes(":") ? hookOn(directionAt(ground, on)) : intoNode(ground, on);
  const choose = both(groupMatches(group), largerThanBytes === null ? [""] : largerThan(largerThanBytes));
  return {
    claims: [],
    ...frameChain(tag, hook, { choose: fitting(choose), act: [`${shareMatch(share)}drop`], order: "drop" }),
  };
}

function intoNode(ground: FaultGround, on: string): FrameHook {
  const node = networkNodeAt(ground, on);
  const interfaceNames = [...node.ports.values()].map((port) => port.interfaceName);
  return { namespace: node.namespace, hook: "ingress", interfaceNames };
}

/** A match for IPv6 cannot hold together with one for IPv4; nftables refuses to load such a rule. */
const fitting = (matches: readonly string[]): readonly string[] =>
  matches.filter((match) => !(/\bip /.test(match) && /\bip6 /.test(match)));

/** Marks a frame that has been through a fault which sends it again. Marks end at the namespace's border. */
export const SENT_AGAIN_MARK = 0x6479;

/** Copies are sent by the sending end: a hook on the way in could only send them back. */
export function planDuplicate(fault: PracticeFaultOf<"duplicate">, ground: FaultGround, tag: string): FaultPlan {
  const { node, port } = directionAt(ground, fault.on).from;
  const hook: FrameHook = { namespace: node.namespace, hook: "egress", interfaceNames: [port.interfaceName] };
  const again = `meta mark set ${SENT_AGAIN_MARK} dup to "${port.interfaceName}"`;
  const choose = groupMatches(fault.group).map((match) => `meta mark != ${SENT_AGAIN_MARK} ${match}`);
  return {
    claims: [`duplicate ${fault.on}`],
    ...frameChain(tag, hook, { choose, act: [`${shareMatch(fault.share)}${again}`], order: "copy" }),
  };
}

export function planDropMembership(
  fault: PracticeFaultOf<"drop-queries"> | PracticeFaultOf<"drop-reports"> | PracticeFaultOf<"drop-leaves">,
  ground: FaultGround,
  tag: string,
): FaultPlan {
  const hook = hookOn(directionAt(ground, fault.on));
  const choose = (): readonly string[] => {
    if (fault.fault === "drop-queries") return QUERY_MATCHES;
    const from = fault.host === null ? "" : `ether saddr ${hostAt(ground, fault.host).port.mac}`;
    return both([from], fault.fault === "drop-reports" ? REPORT_MATCHES : LEAVE_MATCHES);
  };
  return { claims: [], ...frameChain(tag, hook, { choose: choose(), act: ["drop"], order: "drop" }) };
}

/** How long a shaper's queue may grow: what a port of a small switch holds at these rates. */
const SHAPER_QUEUE_MS = 50;
const SLOWEST_BPS = 1_000;
/** The largest frame, which a bucket must be able to pay for. */
const FRAME_BYTES = 1_600;

/** A shaper at the sending end, as a slow port is; a policer at the forwarding end, as a storm control is. */
export function planRateLimit(
  { on, limit }: PracticeFaultOf<"rate-limit">,
  ground: FaultGround,
  tag: string,
): FaultPlan {
  const direction = directionAt(ground, on);
  if (limit.kind === "police") {
    const burst = limit.burstPackets ?? Math.max(1, Math.ceil(limit.packetsPerSecond / 10));
    const act = [`limit rate over ${limit.packetsPerSecond}/second burst ${burst} packets drop`];
    return { claims: [], ...frameChain(tag, hookOn(direction), { choose: [""], act, order: "drop" }) };
  }
  if (limit.rateBps < SLOWEST_BPS) throw invalid("The rate is below 1 kbit/s", "Write a rate such as 2 Mbit/s");
  const { node, port } = direction.from;
  const burst = Math.max(FRAME_BYTES, limit.burstBytes ?? Math.ceil(limit.rateBps / 8 / 100));
  const device = `dev ${port.interfaceName} root`;
  return {
    claims: [`rate ${on}`],
    apply: [
      tc(
        node.namespace,
        `qdisc add ${device} tbf rate ${Math.ceil(limit.rateBps)}bit burst ${burst}b latency ${SHAPER_QUEUE_MS}ms`,
      ),
    ],
    undo: [tc(node.namespace, `qdisc del ${device}`)],
  };
}
