import type { Episode } from "../store/pack/kept-report.ts";

/** Changes that follow each other this closely are two queriers that ask in turn, no change of one. Common practice, no source. */
const IN_TURN_NS = 260e9;
/** Hosts hear the same query within this. */
const SAME_NS = 2e9;

interface Change {
  readonly from: string;
  readonly to: string;
  fromNs: number;
  toNs: number;
  times: number;
  readonly agents: Set<string>;
}

/**
 * Who asks, host by host, and when that changed: a query alone is nothing, one from another address than the last is a change.
 * Takes the episodes of queries in order of time, and keeps the changes only.
 */
export class QuerierChanges {
  /** By host, address family and VLAN: the address that asked last, and when. */
  readonly #last = new Map<string, { readonly address: string; readonly atNs: number }>();
  readonly #changes: Change[] = [];

  take({ agent, detail, fromNs }: Episode): void {
    const [address = "", vlan = ""] = detail.split(" ");
    const key = `${agent} ${address.includes(":") ? 6 : 4} ${vlan}`;
    const last = this.#last.get(key);
    this.#last.set(key, { address, atNs: fromNs });
    if (last === undefined || last.address === address) return;
    const before = last.address;
    // It heard no query since before that change, as it was away: the same change, and no second one.
    const missed = this.#changes.findLast((one) => one.times === 1 && one.fromNs > last.atNs);
    if (missed?.from === before && missed.to === address && fromNs - missed.toNs > SAME_NS) {
      missed.agents.add(agent);
      return;
    }
    const known = this.#changes.findLast(
      (one) =>
        (one.from === before && one.to === address && fromNs - one.toNs <= SAME_NS) ||
        (one.times > 0 && isSamePair(one, before, address) && fromNs - one.toNs <= IN_TURN_NS),
    );
    if (known === undefined) {
      const agents = new Set([agent]);
      this.#changes.push({ from: before, to: address, fromNs, toNs: fromNs, times: 1, agents });
      return;
    }
    if (fromNs - known.toNs > SAME_NS) known.times += 1;
    known.toNs = fromNs;
    known.agents.add(agent);
  }

  /** One for each host that heard a change. */
  episodes(): Episode[] {
    return this.#changes.flatMap((change) =>
      [...change.agents].map(
        (agent): Episode => ({
          ...{ kind: "querier-change", agent, streamId: null, fromNs: change.fromNs, toNs: change.toNs },
          ...{ count: change.times, detail: wordsOf(change) },
        }),
      ),
    );
  }
}

const isSamePair = (one: Change, a: string, b: string): boolean =>
  (one.from === a && one.to === b) || (one.from === b && one.to === a);

const wordsOf = ({ from, to, times }: Change): string =>
  times === 1
    ? `Queries came from ${to} instead of ${from}`
    : `Queries came from ${from} and ${to} in turn: ${times} changes`;
