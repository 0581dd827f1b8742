import { setTimeout as sleep } from "node:timers/promises";
import { Fault } from "@dyetrace/wire";
import type { PracticeHost } from "../host/practice-host.ts";

/** A snooping switch whose kernel counters tell whether it has heard a query. */
export interface Snooper {
  readonly name: string;
  readonly namespace: string;
  readonly bridge: string;
}

/** Queries that a bridge has counted, its own among them. */
export interface QueryCounts {
  readonly igmp: number;
  readonly mld: number;
}

const POLL_MS = 50;

/**
 * Waits until every snooper acts on what it snoops. A kernel bridge floods until it has heard a general query (or sent
 * one) and the query's response interval is over (`br_multicast_querier_exists` in net/bridge/br_multicast.c), for each
 * family by itself. So we watch each bridge's own counters for its next query, and let the interval pass after that.
 * @param since counts from before the query that we wait for; absent names count as zero
 * @throws {Fault} PRACTICE_FAILED naming a switch that heard none in time
 */
export async function snoopingSettled(
  host: PracticeHost,
  snoopers: readonly Snooper[],
  since: ReadonlyMap<string, QueryCounts>,
  wait: {
    readonly responseMs: number;
    readonly deadlineMs: number;
    readonly hasIpv6: boolean;
    readonly signal: AbortSignal;
  },
): Promise<void> {
  const deadline = performance.now() + wait.deadlineMs;
  const hasHeard = async (snooper: Snooper): Promise<boolean> => {
    const before = since.get(snooper.name) ?? NONE;
    const now = (await countQueries(host, [snooper])).get(snooper.name) ?? NONE;
    return now.igmp > before.igmp && (!wait.hasIpv6 || now.mld > before.mld);
  };
  // One at a time: each look is a process, and the same query reaches them all at nearly the same instant.
  for (const snooper of snoopers) {
    while (!(await hasHeard(snooper))) {
      if (performance.now() > deadline) {
        throw new Fault(
          "PRACTICE_FAILED",
          `No query reached "${snooper.name}" within ${Math.round(wait.deadlineMs / 1000)} s, so it would flood`,
          "A fault that keeps queries away must be taken out first",
        );
      }
      await sleep(POLL_MS, undefined, { signal: wait.signal });
    }
    wait.signal.throwIfAborted();
  }
  await sleep(wait.responseMs, undefined, { signal: wait.signal });
}

export async function countQueries(
  host: PracticeHost,
  snoopers: readonly Snooper[],
): Promise<ReadonlyMap<string, QueryCounts>> {
  const counts = new Map<string, QueryCounts>();
  for (const { name, namespace, bridge } of snoopers) {
    const { stdout } = await host.run(["ip", "-n", namespace, "-j", "link", "xstats", "type", "bridge", "dev", bridge]);
    counts.set(name, readCounts(stdout));
  }
  return counts;
}

const NONE: QueryCounts = { igmp: 0, mld: 0 };

interface BridgeStatistics {
  readonly multicast?: {
    readonly igmp_queries?: Readonly<Record<string, number>>;
    readonly mld_queries?: Readonly<Record<string, number>>;
  };
}

function readCounts(json: string): QueryCounts {
  const [bridge] = json.trim() === "" ? [] : (JSON.parse(json) as readonly BridgeStatistics[]);
  const sum = (counters: Readonly<Record<string, number>> = {}): number =>
    Object.values(counters).reduce((total, count) => total + count, 0);
  return { igmp: sum(bridge?.multicast?.igmp_queries), mld: sum(bridge?.multicast?.mld_queries) };
}
