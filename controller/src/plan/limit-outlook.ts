import { trialsWithoutHit } from "@dyetrace/measure";
import { agentNames, type SiteGraph } from "@dyetrace/site";
import { formatCount, formatRatio, type Scenario, type ScenarioExpectation, type ScenarioStream } from "@dyetrace/wire";
import { sayMorePackets } from "./more-packets.ts";
import { packetsPerSecond, type SendingStretch, scheduledPackets, sendingStretches } from "./sending-stretches.ts";

/** An expectation that this scenario sends too few packets to decide, even if none of them is lost. */
export interface LimitOutlook {
  readonly what: ShareName;
  readonly limitRatio: number;
  /** Who is to get the fewest. */
  readonly stream: string;
  readonly listener: string;
  readonly packets: number;
  readonly neededPackets: number;
  /** Longer, at the stream's mean rate. */
  readonly moreSeconds: number | null;
  /** Further pairs of stream and listener that get too few. */
  readonly others: number;
  readonly sentence: string;
}

type ShareName = "loss" | "duplicates" | "reordered";

/** The expectations that are shares of packets. */
const LIMITS: readonly (readonly [ShareName, (expect: ScenarioExpectation) => number | null])[] = [
  ["loss", ({ lossRatio }) => lossRatio],
  ["duplicates", ({ duplicateRatio }) => duplicateRatio],
  ["reordered", ({ reorderedRatio }) => reorderedRatio],
];

/** What a run of this scenario could not decide, before it is run. Pure. */
export function undecidableLimits(scenario: Scenario, graph: SiteGraph): LimitOutlook[] {
  const stated = LIMITS.flatMap(([what, limitOf]) => {
    const limitRatio = limitOf(scenario.expect);
    // A limit of 0 is about the packets that are sent, however few.
    return limitRatio === null || limitRatio === 0 ? [] : [{ what, limitRatio }];
  });
  if (stated.length === 0) return [];
  const expected = expectedReceipts(scenario, agentNames(graph));
  return stated.flatMap(({ what, limitRatio }) => {
    const neededPackets = limitRatio >= 1 ? 1 : trialsWithoutHit(limitRatio);
    const short = expected.filter(({ packets }) => packets < neededPackets);
    const [first] = short;
    if (first === undefined) return [];
    const fewest = short.reduce((least, one) => (one.packets < least.packets ? one : least), first);
    const { stream, listener, packets, perSecond } = fewest;
    const more = sayMorePackets(neededPackets, packets, perSecond);
    const whom = short.length === 1 ? "" : `, and ${short.length - 1} more are to get too few as well`;
    return {
      what,
      limitRatio,
      stream,
      listener,
      packets,
      neededPackets,
      moreSeconds: more.seconds,
      others: short.length - 1,
      sentence: `This run cannot decide "${what} at most ${formatRatio(limitRatio)}": ${listener} is to get ${formatCount(packets)} packets of ${stream}${whom}; ${more.sentence}`,
    };
  });
}

interface ExpectedReceipt {
  readonly stream: string;
  readonly listener: string;
  readonly packets: number;
  readonly perSecond: number | null;
}

/** The packets that each listener is to get of each stream while it is a member, a warm-up left out. */
function expectedReceipts(scenario: Scenario, agents: readonly string[]): ExpectedReceipt[] {
  return scenario.streams.flatMap((stream) => {
    if (stream.production !== undefined) return []; // how much a stream that flows already sends is not known before
    const stretches = sendingStretches({ scenario }, stream);
    const perSecond = packetsPerSecond(stretches);
    const packetsOf = new Map<string, number>();
    for (const { agent, fromNs, toNs } of staysIn(scenario, stream, agents)) {
      const packets = scheduledIn(stretches, fromNs, toNs, scenario.expect.warmUpNs ?? 0);
      packetsOf.set(agent, (packetsOf.get(agent) ?? 0) + packets);
    }
    return [...packetsOf].map(([listener, packets]) => ({
      stream: stream.name,
      listener,
      packets: Math.floor(packets),
      perSecond,
    }));
  });
}

function scheduledIn(stretches: readonly SendingStretch[], fromNs: number, toNs: number, warmUpNs: number): number {
  const countedNs = Math.max(fromNs, stretches[0]?.startNs ?? 0) + warmUpNs;
  return Math.max(0, scheduledPackets(stretches, toNs) - scheduledPackets(stretches, Math.min(countedNs, toNs)));
}

interface ExpectedStay {
  readonly agent: string;
  readonly fromNs: number;
  readonly toNs: number;
}

function staysIn(
  { timeline, durationNs }: Scenario,
  { name, source }: ScenarioStream,
  agents: readonly string[],
): ExpectedStay[] {
  const stays: ExpectedStay[] = [];
  const since = new Map<string, number>();
  for (const action of timeline) {
    if (action.stream !== name || (action.kind !== "join" && action.kind !== "leave")) continue;
    const { kind, atNs } = action;
    for (const agent of action.agents ?? agents.filter((one) => one !== source)) {
      const fromNs = since.get(agent);
      if (kind === "join") {
        if (fromNs === undefined) since.set(agent, atNs);
        continue;
      }
      if (fromNs === undefined) continue;
      stays.push({ agent, fromNs, toNs: atNs });
      since.delete(agent);
    }
  }
  return [...stays, ...[...since].map(([agent, fromNs]) => ({ agent, fromNs, toNs: durationNs }))];
}
