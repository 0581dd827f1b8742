import type { StreamTrial } from "../cover/stream-trials.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { StreamFacts } from "../run/stream-facts.ts";

/** Whoever left before or as the silence began is no witness for the time after. Common practice, no source. */
const LEAVING_MS = 200;

/** The receipts of a run that did not end in silence, for its stops to ask. */
export class ServedReceipts {
  readonly #trialsOf = new Map<StreamFacts, StreamTrial[]>();

  constructor(trials: readonly StreamTrial[]) {
    for (const trial of trials) {
      const own = this.#trialsOf.get(trial.facts);
      if (own === undefined) this.#trialsOf.set(trial.facts, [trial]);
      else own.push(trial);
    }
  }

  /**
   * Numbers of the nodes of hosts that still got some of these streams.
   * @param sinceMs when the silence began
   */
  servedNodes(streams: readonly StreamFacts[], silentHosts: readonly string[], sinceMs: number): number[] {
    const silent = new Set(silentHosts);
    const isServed = ({ listener: { host, joinedToMs } }: PlacedReceipt): boolean =>
      !silent.has(host) && (joinedToMs === null || joinedToMs > sinceMs + LEAVING_MS);
    const nodes = new Set<number>();
    for (const { outcomes } of streams.flatMap((facts) => this.#trialsOf.get(facts) ?? [])) {
      for (const { bad, receipt } of outcomes) {
        if (bad === null && receipt !== null && isServed(receipt)) nodes.add(receipt.node);
      }
    }
    return [...nodes];
  }
}
