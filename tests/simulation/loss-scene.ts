import { locate } from "../../packages/locate/src/locate.ts";
import { randomSite } from "./random-site.ts";
import { drawInteger, drawSome, type Random } from "./seeded-random.ts";
import { simulateRun } from "./simulate-run.ts";
import type { SimulatedFault, SimulatedStream } from "./simulated-fault.ts";

/** One segment's 95 % interval beside the loss that was put in. */
export interface IntervalCheck {
  readonly trueRatio: number;
  readonly low: number;
  readonly high: number;
  /** Packets that the segment may be expected to lose in this run. */
  readonly expectedLosses: number;
}

export interface LossOutcome {
  readonly intervals: readonly IntervalCheck[];
  /** Segments that were called lossy though they lose less than the background. */
  readonly falseBlame: readonly string[];
  /** Segments that lose 1 per cent or more and carried a stream, and those of them that a finding names. */
  readonly lossy: number;
  readonly found: number;
}

export interface LossSceneOptions {
  readonly leastNodes: number;
  readonly mostNodes: number;
  readonly packets: number;
  /** Share of the segments that lose, up to `mostRatio`; the rest loses `background`. */
  readonly lossyShare: number;
  readonly mostRatio: number;
  readonly background: number;
  /** Mean length of a run of losses; 1 for independent losses. */
  readonly burstPackets: number;
}

/** A random site whose segments lose at random, and what is made of it. */
export function playLoss(options: LossSceneOptions, random: Random): LossOutcome {
  const graph = randomSite(random, drawInteger(random, options.leastNodes, options.mostNodes));
  const hosts = [...graph.nodes.values()].filter((node) => node.kind === "host").map((node) => node.name);
  const agents = drawSome(random, hosts, Math.max(3, Math.ceil(hosts.length * (0.5 + 0.5 * random()))));
  const sources = agents.slice(0, random() < 0.5 ? 1 : 2);
  const streams = sources.map(
    (source, i): SimulatedStream => ({
      stream: `stream-${i}`,
      group: `233.252.0.${i + 1}`,
      source,
      listeners: agents.filter((agent) => agent !== source),
      packets: options.packets,
      packetsPerSecond: 1_000,
    }),
  );
  const truth = new Map<string, number>();
  for (const id of graph.segments.keys()) {
    const isLossy = random() < options.lossyShare;
    truth.set(id, isLossy ? 0.001 + random() * (options.mostRatio - 0.001) : options.background);
  }
  const faults = [...truth].map(
    ([segment, ratio]): SimulatedFault => ({ kind: "loss", segment, ratio, burstPackets: options.burstPackets }),
  );
  const { segments, findings } = locate(graph, simulateRun(graph, streams, faults, random));
  const ratioOf = (id: string): number => truth.get(id) ?? 0;
  const named = new Set(findings.flatMap((finding) => finding.suspects));
  const tested = segments.filter((segment) => segment.high !== null && truth.has(segment.id));
  const lossy = tested.filter((segment) => ratioOf(segment.id) >= 0.01);
  return {
    intervals: tested.flatMap(({ id, lossRatio, low, high }) =>
      lossRatio === null || low === null || high === null
        ? []
        : [{ trueRatio: ratioOf(id), low, high, expectedLosses: ratioOf(id) * options.packets }],
    ),
    falseBlame: findings
      .filter((finding) => finding.suspects.every((suspect) => ratioOf(suspect) <= options.background))
      .map((finding) => finding.title),
    lossy: lossy.length,
    found: lossy.filter((segment) => named.has(segment.id)).length,
  };
}
