import { mergeSequenceRanges, subtractRanges } from "@dyetrace/measure";
import type { SeqRange } from "../../packages/locate/src/run/run-observations.ts";
import type { SiteIndex } from "../../packages/locate/src/site/site-index.ts";
import { nodesDownTo, type SourceTree } from "../../packages/locate/src/site/source-tree.ts";
import { drawLosses } from "./draw-losses.ts";
import { policedNumbers } from "./policed-numbers.ts";
import type { Random } from "./seeded-random.ts";
import { PACKETS_PER_SECOND, PAYLOAD_BYTES, type SimulatedFault, type SimulatedStream } from "./simulated-fault.ts";

/** Numbers that do not reach each node of the tree, by node number. */
export function absentNumbers(
  site: SiteIndex,
  tree: SourceTree,
  sim: SimulatedStream,
  members: ReadonlySet<number>,
  faults: readonly SimulatedFault[],
  random: Random,
): Map<number, SeqRange[]> {
  const perSecond = sim.packetsPerSecond ?? PACKETS_PER_SECOND;
  const all = (fromMs = 0, toMs = Number.POSITIVE_INFINITY): SeqRange[] => {
    const first = Math.max(0, Math.ceil((fromMs * perSecond) / 1000));
    const last = Math.min(sim.packets, Math.ceil((toMs * perSecond) / 1000)) - 1;
    return first <= last ? [[first, last]] : [];
  };
  const absent = new Map<number, SeqRange[]>();
  for (const node of tree.order) {
    const segment = site.segments[tree.into[node] ?? -1];
    const name = site.nodes[node]?.name;
    let missing = absent.get(tree.parent[node] ?? -1) ?? [];
    for (const fault of faults) {
      switch (fault.kind) {
        case "dead-segment":
          if (segment?.id === fault.segment || losesState(site, tree, members, node, fault.segment)) {
            missing = mergeSequenceRanges([...missing, ...all(fault.fromMs)]);
          }
          break;
        case "lost-reports":
          if (losesState(site, tree, members, node, fault.segment))
            missing = mergeSequenceRanges([...missing, ...all()]);
          break;
        case "dead-node":
          if (name === fault.node) missing = mergeSequenceRanges([...missing, ...all(fault.fromMs)]);
          break;
        case "outage":
          if (segment?.id === fault.place || name === fault.place) {
            missing = mergeSequenceRanges([...missing, ...all(fault.fromMs, fault.toMs)]);
          }
          break;
        case "policer":
          if (segment?.id === fault.segment) {
            const passed = subtractRanges(all(), missing);
            missing = mergeSequenceRanges([...missing, ...policedNumbers(passed, perSecond, fault)]);
          }
          break;
        case "dead-sender":
          if (node === tree.source && name === fault.host) missing = all();
          break;
        case "dead-receiver":
          if (node !== tree.source && name === fault.host) missing = all();
          break;
        case "segment-group":
          if (segment?.id === fault.segment && sim.group === fault.group) missing = all();
          break;
        case "node-group":
          if (name === fault.node && sim.group === fault.group) missing = all();
          break;
        case "size-limit":
          if (segment?.id === fault.segment && (sim.payloadBytes ?? PAYLOAD_BYTES) > fault.largestBytes)
            missing = all();
          break;
        case "loss":
          if (segment?.id === fault.segment) {
            missing = mergeSequenceRanges([
              ...missing,
              ...drawLosses(sim.packets, fault.ratio, fault.burstPackets ?? 1, random),
            ]);
          }
          break;
        case "flooding-node":
        case "flooding-port":
          break;
      }
    }
    absent.set(node, missing);
  }
  return absent;
}

/**
 * True when the port into `node` has no group state because every report from behind it crosses `lost` in the other
 * direction: then the nearest switch or router above, whose port this is, does not forward.
 */
function losesState(
  site: SiteIndex,
  tree: SourceTree,
  members: ReadonlySet<number>,
  node: number,
  lost: string,
): boolean {
  const above = site.nodes[tree.parent[node] ?? -1]?.kind;
  if (above !== "switch" && above !== "router") return false;
  const behind = [...members].filter((member) => nodesDownTo(tree, member).includes(node));
  return behind.length > 0 && behind.every((member) => crosses(site, tree, member, node, lost));
}

/** True when a report from `member` up to the port into `node` travels along the segment `lost`. */
function crosses(site: SiteIndex, tree: SourceTree, member: number, node: number, lost: string): boolean {
  const path = nodesDownTo(tree, member);
  return path.slice(path.indexOf(node)).some((step) => {
    const upwards = site.reverse[tree.into[step] ?? -1] ?? -1;
    return site.segments[upwards]?.id === lost;
  });
}
