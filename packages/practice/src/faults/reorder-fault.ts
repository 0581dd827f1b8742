import { fileURLToPath } from "node:url";
import { ip, ipBatch } from "../host/step.ts";
import type { FaultGround, FaultPlan } from "./fault-plan.ts";
import { frameChain } from "./frame-chain.ts";
import { groupMatches } from "./frame-matches.ts";
import { SENT_AGAIN_MARK } from "./packet-faults.ts";
import { directionAt, invalid } from "./places.ts";
import type { PracticeFaultOf } from "./practice-fault.ts";

/** A helper on a busy machine sends a frame this much later than it should. */
const SENT_WITHIN_MS = 100;

/**
 * Every n-th frame takes a detour: into a pair of interfaces that lead nowhere, at whose end a helper picks it up and
 * sends it from the same port some time later. Frames that pass meanwhile overtake it. The kernel here has no queue that
 * could do this (no netem).
 */
export function planReorder(fault: PracticeFaultOf<"reorder">, ground: FaultGround, tag: string): FaultPlan {
  const { node, port } = directionAt(ground, fault.on).from;
  const { namespace } = node;
  if (fault.delayMs < 1) throw invalid("Frames are held for at least 1 ms", "Write a delay such as 20ms");
  const [into, end] = [`+${tag}a`, `+${tag}b`]; // no port begins with a plus sign
  const chain = frameChain(
    tag,
    { namespace, hook: "egress", interfaceNames: [port.interfaceName] },
    {
      choose: groupMatches(fault.group).map((match) => `meta mark != ${SENT_AGAIN_MARK} ${match}`),
      act: [`numgen inc mod ${fault.every} == ${fault.every - 1} fwd to "${into}"`],
      order: "hold",
    },
  );
  const program = fileURLToPath(new URL("./hold-frames.js", import.meta.url));
  return {
    claims: [`reorder ${fault.on}`],
    apply: [
      ipBatch(namespace, [
        `link add ${into} type veth peer name ${end}`,
        `link set ${into} addrgenmode none multicast off up`,
        `link set ${end} addrgenmode none multicast off up`,
      ]),
    ],
    undo: [ip(namespace, `link del ${into}`)],
    helper: {
      namespace,
      argv: [process.execPath, program, end, port.interfaceName, String(fault.delayMs), String(SENT_AGAIN_MARK)],
      // No frame may be on its way to a helper that does not read yet, or no more: the fault reorders, and loses nothing.
      ...{ engage: chain.apply, release: chain.undo, holdsMs: fault.delayMs + SENT_WITHIN_MS },
    },
  };
}
