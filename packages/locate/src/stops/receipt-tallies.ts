import type { StreamTrial } from "../cover/stream-trials.ts";
import type { ListenerObservation, TimeSpan } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { type ServedHosts, servedHosts } from "./served-hosts.ts";

/** What the listeners of one stream say, as far as stops ask. */
export interface ReceiptTally {
  /** Hosts that reported. */
  readonly hosts: ReadonlySet<string>;
  /** Those that lack a packet, or that can't tell of some. */
  readonly incomplete: readonly string[];
  /** Who joined and did not report, or is not where the plan could have it receive. */
  readonly untold: readonly ListenerObservation[];
}

/** Hundreds of stops may concern the same streams: each stream's receipts are gone through once. */
export class ReceiptTallies {
  readonly #known = new Map<StreamFacts, ReceiptTally>();
  readonly #numbers = new Map<StreamTrial, number>();
  readonly #served = new Map<string, readonly ServedHosts[]>();

  of(facts: StreamFacts): ReceiptTally {
    const known = this.#known.get(facts) ?? tallyOf(facts);
    this.#known.set(facts, known);
    return known;
  }

  /** As `servedHosts` says. */
  servedOf(trials: readonly StreamTrial[], time: TimeSpan): readonly ServedHosts[] {
    const key = [...trials.map((trial) => this.#numberOf(trial)), time.startMs, time.endMs].join(" ");
    const known = this.#served.get(key) ?? servedHosts(trials, time);
    this.#served.set(key, known);
    return known;
  }

  #numberOf(trial: StreamTrial): number {
    const number = this.#numbers.get(trial) ?? this.#numbers.size;
    this.#numbers.set(trial, number);
    return number;
  }
}

function tallyOf({ receipts, missing, unreachable }: StreamFacts): ReceiptTally {
  const incomplete = receipts.filter(({ lostPackets, listener }) => lostPackets !== 0 || listener.unknown?.length);
  return {
    hosts: new Set(receipts.map(({ listener }) => listener.host)),
    incomplete: [...new Set(incomplete.map(({ listener }) => listener.host))],
    untold: [...missing, ...unreachable],
  };
}
