import type { StreamTrial } from "../cover/stream-trials.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
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
): StopWitnesses {
  const isOther = ({ host }: { readonly host: string }): boolean => !silentHosts.includes(host);
  const receipts = facts.flatMap((one) => one.receipts).filter(({ listener }) => isOther(listener));
  const untold = facts.flatMap((one) => [...one.missing, ...one.unreachable]).filter(isOther);
  return {
    served: servedBy(pairs, isOther),
    isRestComplete:
      receipts.length > 0 &&
      untold.length === 0 &&
      receipts.every(({ lostPackets, listener }) => lostPackets === 0 && !listener.unknown?.length),
    isEveryPairSilent: isEveryPairSilent(facts, pairs),
    isNobodyElse: receipts.length === 0 && untold.every(({ state }) => state === "no-report"),
  };
}

function isEveryPairSilent(facts: readonly StreamFacts[], pairs: readonly SilentPair[]): boolean {
  const silent = new Set(pairs.map(({ receipt }) => receipt));
  return facts.every(
    ({ receipts, missing }) =>
      receipts.every((receipt) => silent.has(receipt)) && missing.every(({ state }) => state === "no-report"),
  );
}

type IsOther = (one: { readonly host: string }) => boolean;

function servedBy(pairs: readonly SilentPair[], isOther: IsOther): StopWitnesses["served"] {
  const { startMs, endMs } = wholeSpan(silentTime(pairs));
  const streamsOf = new Map<string, Set<string>>();
  for (const trial of new Set<StreamTrial>(pairs.map((pair) => pair.trial))) {
    for (const { good, bad, receipt } of trial.outcomes) {
      if (receipt === null || good === null || bad !== null || !isOther(receipt.listener)) continue;
      if (receipt.listener.receivedPackets === 0 || good.endMs <= startMs || good.startMs >= endMs) continue;
      const { host } = receipt.listener;
      streamsOf.set(host, (streamsOf.get(host) ?? new Set()).add(trial.facts.stream.stream));
    }
  }
  const byStreams = new Map<string, { hosts: string[]; streams: string[] }>();
  for (const [host, streams] of streamsOf) {
    const key = [...streams].toSorted().join(" ");
    const same = byStreams.get(key);
    if (same === undefined) byStreams.set(key, { hosts: [host], streams: [...streams] });
    else same.hosts.push(host);
  }
  return [...byStreams.values()].toSorted(
    (a, b) => b.streams.length - a.streams.length || b.hosts.length - a.hosts.length,
  );
}
