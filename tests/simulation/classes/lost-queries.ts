import { countRanges } from "@dyetrace/measure";
import { type SeqRange, STANDARD_TIMERS } from "../../../packages/locate/src/run/run-observations.ts";
import { indexSite } from "../../../packages/locate/src/site/site-index.ts";
import { isAtOrBelow, sourceTree } from "../../../packages/locate/src/site/source-tree.ts";
import { drawOne, type Random } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { type ClassCase, type ClassTruth, faultAt, type SimulatedClass } from "./class-case.ts";
import { type ClassScene, drawClassScene } from "./class-scene.ts";
import { queryTimes, withQueries } from "./observed-queries.ts";

const { queryIntervalMs, queryResponseMs, robustness } = STANDARD_TIMERS;
const MEMBERSHIP_MS = robustness * queryIntervalMs + queryResponseMs;
const JOINED_FROM_MS = -1_000;
const DURATION_MS = 420_000;
const PACKETS_PER_SECOND = 10;

/**
 * Queries get lost on a trunk from the run's start. Behind it nobody is asked, so memberships run out one membership
 * interval after the joins (RFC 3376, section 8.4): the port into the trunk closes, or, for a source behind it, the
 * switches there forget the group and send it out of all their ports.
 */
export const lostQueries: SimulatedClass = {
  name: "lost-queries",
  about: "queries are lost on a trunk, data is not; or there is no querier",
  variants: ["source before the trunk", "source behind it, switches flood", "no querier, switches flood"],
  draw: (variant, random) => {
    const scene = drawClassScene(random, {
      packets: (DURATION_MS * PACKETS_PER_SECOND) / 1000,
      packetsPerSecond: PACKETS_PER_SECOND,
      joinedFromMs: JOINED_FROM_MS,
      bystanderShare: variant === "source before the trunk" ? 0 : 0.4,
      mostSources: 2,
      mostNodes: 30,
    });
    // Behind a router a querier of its own would be needed.
    if ([...scene.graph.nodes.values()].some(({ kind }) => kind === "router")) return null;
    const island = variant === "no querier, switches flood" ? wholeSite(scene) : drawIsland(scene, random);
    if (island === null) return null;
    const isBehind = (host: string): boolean => island.hosts.has(host);
    const isFlooding = variant !== "source before the trunk";
    const streams = scene.streams
      .filter(({ source }) => isBehind(source) === isFlooding)
      .map((stream) =>
        // What a flood makes of members before the trunk depends on the switch, so there are none.
        isFlooding ? { ...stream, listeners: stream.listeners.filter(isBehind) } : stream,
      )
      .filter(({ listeners }) => listeners.some(isBehind));
    if (streams.length === 0) return null;
    const quiet = simulateRun(scene.graph, streams, [], random);
    const run = isFlooding ? flooding(quiet, isBehind) : runningOut(quiet, isBehind);
    // A flood that nobody watches leaves no trace.
    if (isFlooding && run.bystanders.every(({ frames }, i) => frames === quiet.bystanders[i]?.frames)) return null;
    const querying = {
      atMs: queryTimes(random, queryIntervalMs, 0, DURATION_MS),
      timers: STANDARD_TIMERS,
      isHeard: (host: string) => !isBehind(host),
      untilMs: DURATION_MS,
    };
    return {
      plan: scene.graph,
      world: scene.graph,
      run: withQueries(run, scene.agents, querying, random),
      truth: { ...faultAt(...island.places), trueKinds: island.trueKinds },
    };
  },
};

type Run = ClassCase["run"];

const RUN_OUT_SEQ = Math.ceil(((JOINED_FROM_MS + MEMBERSHIP_MS) * PACKETS_PER_SECOND) / 1000);

/** The port into the trunk closes one membership interval after the last report that came out of it. */
function runningOut(run: Run, isBehind: (host: string) => boolean): Run {
  return {
    ...run,
    listeners: run.listeners.map((listener) => {
      if (!isBehind(listener.host) || listener.window === null) return listener;
      const lost: SeqRange = [RUN_OUT_SEQ, listener.window[1]];
      return {
        ...listener,
        lost: [lost],
        receivedPackets: listener.receivedPackets - countRanges([lost]),
        lastArrivalMs: ((RUN_OUT_SEQ - 1) * 1000) / PACKETS_PER_SECOND,
      };
    }),
  };
}

/** From then on every host behind the trunk sees all that is sent there. */
function flooding(run: Run, isBehind: (host: string) => boolean): Run {
  return {
    ...run,
    bystanders: run.bystanders.map((bystander) => {
      const stream = run.streams.find((one) => one.stream === bystander.stream);
      if (!isBehind(bystander.host) || bystander.frames > 0 || stream === undefined) return bystander;
      const ranges: SeqRange[] = [[RUN_OUT_SEQ, (stream.sentPackets ?? 0) - 1]];
      const [firstMs, lastMs] = [JOINED_FROM_MS + MEMBERSHIP_MS, stream.lastSentMs];
      return { ...bystander, ranges, frames: countRanges(ranges), firstMs, lastMs };
    }),
  };
}

/** Where no query comes. */
interface Island {
  /** The segment on which queries are lost, and the forwarding nodes at its ends; or the querier that does not ask. */
  readonly places: readonly string[];
  readonly trueKinds: ClassTruth["trueKinds"];
  readonly hosts: ReadonlySet<string>;
}

/** Its querier is silent, so it is an island altogether. */
function wholeSite({ graph }: ClassScene): Island {
  const nodes = [...graph.nodes.values()];
  const querier = nodes.filter(({ isQuerier }) => isQuerier).map(({ name }) => name);
  return { places: querier, trueKinds: ["no-querier"], hosts: new Set(nodes.map(({ name }) => name)) };
}

function drawIsland({ graph }: ClassScene, random: Random): Island | null {
  const site = indexSite(graph);
  const querier = site.nodes.findIndex((node) => node.isQuerier);
  const tree = sourceTree(site, querier);
  const hostsBelow = (top: number): string[] =>
    tree.order
      .filter((node) => site.nodes[node]?.kind === "host" && isAtOrBelow(tree, node, top))
      .flatMap((node) => site.nodes[node]?.name ?? []);
  const tops = tree.order.filter(
    (node) => node !== querier && site.nodes[node]?.kind === "switch" && hostsBelow(node).length >= 2,
  );
  if (tops.length === 0) return null;
  const top = drawOne(random, tops);
  const segment = site.segments[tree.into[top] ?? -1];
  if (segment === undefined) return null;
  // The port that closes is one of a switch.
  if (graph.nodes.get(segment.from.node)?.kind !== "switch") return null;
  const places = [segment.id, segment.from.node, segment.to.node];
  return { places, trueKinds: [], hosts: new Set(hostsBelow(top)) };
}
