import { inside, nft, type Step } from "../host/step.ts";
import type { FaultPlan } from "./fault-plan.ts";
import type { LinkDirection } from "./places.ts";

/** Where frames of one direction of a link pass an nftables hook. */
export interface FrameHook {
  readonly namespace: string;
  readonly hook: "ingress" | "egress";
  readonly interfaceNames: readonly string[];
}

/**
 * At the network's end of the link. A host's own capture sits between its hooks and the wire: a frame dropped inside
 * the host would show there as received (or as never sent), which a fault of the network must not.
 */
export function hookOn({ from, to }: LinkDirection): FrameHook {
  const isAtReceiver = from.node.kind === "host" && to.node.kind !== "host";
  const { node, port } = isAtReceiver ? to : from;
  return { namespace: node.namespace, hook: isAtReceiver ? "ingress" : "egress", interfaceNames: [port.interfaceName] };
}

/** Faults on one hook act in this order, so that a held frame meets the others once, and copies are made last. */
const PRIORITY = { hold: -10, drop: 0, copy: 10 } as const;

/**
 * A table of our own with a chain on the hook: frames that fit any of `choose` go to `act`.
 * @param tag names the table; no two standing faults share one
 * @param choose nftables matches; an empty one fits every frame
 * @param act nftables statements, one rule each
 */
export function frameChain(
  tag: string,
  { namespace, hook, interfaceNames }: FrameHook,
  rules: { readonly choose: readonly string[]; readonly act: readonly string[]; readonly order: keyof typeof PRIORITY },
): Pick<FaultPlan, "apply" | "undo"> {
  const devices = interfaceNames.map((name) => `"${name}"`).join(", ");
  const ruleset = [
    `table netdev ${tag} {`,
    "  chain choose {",
    `    type filter hook ${hook} devices = { ${devices} } priority ${PRIORITY[rules.order]}; policy accept;`,
    ...rules.choose.map((match) => `    ${match} jump act`),
    "  }",
    "  chain act {",
    ...rules.act.map((statement) => `    ${statement}`),
    "  }",
    "}",
    "",
  ].join("\n");
  return { apply: [nft(namespace, ruleset)], undo: [deleteTable(namespace, "netdev", tag)] };
}

export const deleteTable = (namespace: string, family: "netdev" | "bridge" | "inet", tag: string): Step => ({
  argv: inside(namespace, ["nft", "delete", "table", family, tag]),
});
