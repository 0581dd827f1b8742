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
    served: servedBy(pairs, tallies),
    isRestComplete:
      hasOthers && untold.length === 0 && told.every(({ incomplete }) => !incomplete.some((host) => isOther(host))),
    isEveryPairSilent: isEveryPairSilent(facts, pairs),
    isNobodyElse: !hasOthers && untold.every(({ state, isLeftOut }) => state === "no-report" && isLeftOut !== true),
  };
}

function isEveryPairSilent(facts: readonly StreamFacts[], pairs: readonly SilentPair[]): boolean {
  const silent = new Set(pairs.map(({ receipt }) => receipt));
  return facts.every(
    ({ receipts, missing }) =>
      receipts.every((receipt) => silent.has(receipt)) && missing.every(({ state }) => state === "no-report"),
  );
}

/** Whoever got something while these are silent; not who is silent of some of it. */
function servedBy(pairs: readonly SilentPair[], tallies: ReceiptTallies): StopWitnesses["served"] {
  const silent = new Set(pairs.map(({ receipt }) => receipt.listener.host));
  const trials = [...new Set<StreamTrial>(pairs.map((pair) => pair.trial))];
  return tallies
    .servedOf(trials, wholeSpan(silentTime(pairs)))
    .map(({ hosts, streams }) => ({ hosts: hosts.filter((host) => !silent.has(host)), streams }))
    .filter(({ hosts }) => hosts.length > 0)
    .toSorted((a, b) => b.streams.length - a.streams.length || b.hosts.length - a.hosts.length);
}
