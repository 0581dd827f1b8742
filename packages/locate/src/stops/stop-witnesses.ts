import type { StreamTrial } from "../cover/stream-trials.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { ReceiptTallies } from "./receipt-tallies.ts";
import { silentTime, wholeSpan } from "./silent-groups.ts";
import type { SilentPair } from "./silent-pair.ts";

/** What others say of the streams of one silence. */
export interface StopWitnesses {
  /** Whoever got packets of the streams meanwhile, by what each got, the most common first. */
  readonly served: readonly { readonly hosts: readonly string[]; readonly streams: readonly string[] }[];
  /** Everybody else who joined reported, and nobody of them lacks a packet. */
  readonly isRestComplete: boolean;
  /** No other host that joined reported. */
  readonly isNobodyElse: boolean;
  /** Whoever reported on any of the streams is silent of it here. */
  readonly isEveryPairSilent: boolean;
}

export function stopWitnesses(
  facts: readonly StreamFacts[],
  pairs: readonly SilentPair[],
  silentHosts: readonly string[],
  tallies: ReceiptTallies,
): StopWitnesses {
  const silent = new Set(silentHosts);
  const isOther = (host: string): boolean => !silent.has(host);
  const told = facts.map((one) => tallies.of(one));
  const hasOthers = told.some(({ hosts }) => hosts.size > silent.size || [...hosts].some(isOther));
  const untold = told.flatMap((one) => one.untold).filter(({ host }) => isOther(host));
  return {
    served: servedBy(pairs),
    isRestComplete:
      hasOthers && untold.length === 0 && told.every(({ incomplete }) => !incomplete.some((host) => isOther(host))),
    isEveryPairSilent: isEveryPairSilent(facts, pairs),
    isNobodyElse: !hasOthers && untold.every(({ state }) => state === "no-report"),
  };
}

function isEveryPairSilent(facts: readonly StreamFacts[], pairs: readonly SilentPair[]): boolean {
  const silent = new Set(pairs.map(({ receipt }) => receipt));
  return facts.every(
    ({ receipts, missing }) =>
      receipts.every((receipt) => silent.has(receipt)) && missing.every(({ state }) => state === "no-report"),
  );
}

/** Streams that a host got, in the order of the trials: hosts that got the same stand at the same place. */
interface StreamsGot {
  readonly stream: string;
  readonly before: StreamsGot | null;
}

function servedBy(pairs: readonly SilentPair[]): StopWitnesses["served"] {
  const { startMs, endMs } = wholeSpan(silentTime(pairs));
  const isSilent: boolean[] = [];
  for (const { receipt } of pairs) isSilent[receipt.node] = true;
  const hostOf = new Map<number, string>();
  const gotBy: (StreamsGot | undefined)[] = [];
  for (const trial of new Set<StreamTrial>(pairs.map((pair) => pair.trial))) {
    const { stream } = trial.facts.stream;
    const next = new Map<StreamsGot | null, StreamsGot>();
    for (const { good, bad, receipt } of trial.outcomes) {
      if (receipt === null || good === null || bad !== null || isSilent[receipt.node] === true) continue;
      if (receipt.listener.receivedPackets === 0 || good.endMs <= startMs || good.startMs >= endMs) continue;
      const before = gotBy[receipt.node] ?? null;
      if (before?.stream === stream) continue;
      if (before === null) hostOf.set(receipt.node, receipt.listener.host);
      const got = next.get(before) ?? { stream, before };
      next.set(before, got);
      gotBy[receipt.node] = got;
    }
  }
  const byStreams = new Map<StreamsGot | undefined, { hosts: string[]; streams: string[] }>();
  for (const [node, host] of hostOf) {
    const got = gotBy[node];
    const same = byStreams.get(got);
    if (same === undefined) byStreams.set(got, { hosts: [host], streams: streamsIn(got) });
    else same.hosts.push(host);
  }
  return [...byStreams.values()].toSorted(
    (a, b) => b.streams.length - a.streams.length || b.hosts.length - a.hosts.length,
  );
}

function streamsIn(got: StreamsGot | undefined): string[] {
  const streams: string[] = [];
  for (let at: StreamsGot | null = got ?? null; at !== null; at = at.before) streams.push(at.stream);
  return streams.reverse();
}
