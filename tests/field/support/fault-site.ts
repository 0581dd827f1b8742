import { setTimeout as sleep } from "node:timers/promises";
import {
  loadPracticeFaults,
  type PracticeFault,
  type PracticeSite,
  type PracticeTimers,
  raisePracticeSite,
} from "@dyetrace/practice";
import type { SiteGraph } from "@dyetrace/site";
import { expect, vi } from "vitest";
import { type join, send, siteOf, startSource } from "../group-traffic.ts";

/**
 * Each kind of fault, put in and taken out on a site of its own. What must happen is what the kernel does: frames that a
 * counter sees or a socket does not, entries of the bridge's own table. Groups that age do so by the timers below.
 */
const TIMERS: Partial<PracticeTimers> = {
  queryIntervalMs: 2_000,
  queryResponseIntervalMs: 500,
  membershipIntervalMs: 4_500,
  otherQuerierIntervalMs: 4_250,
  lastMemberIntervalMs: 500,
};

export const PLAN = siteOf(
  {
    core: "switch*",
    edge: "switch",
    hub: "unmanaged",
    tower: "host",
    office: "host",
    kiosk: "host",
    stand: "host",
    "till-a": "host",
    "till-b": "host",
  },
  [
    "core:1 -- edge:24",
    "core:9 -- tower:eth0",
    "core:10 -- office:eth0",
    "edge:1 -- kiosk:eth0",
    "edge:2 -- stand:eth0",
    "edge:3 -- hub:1",
    "hub:2 -- till-a:eth0",
    "hub:3 -- till-b:eth0",
  ],
);
/** A shared port of the querier itself: another switch's leave would be followed by the querier's question. */
export const SHARED_PORT = siteOf(
  { core: "switch*", hub: "unmanaged", tower: "host", "till-a": "host", "till-b": "host" },
  ["core:3 -- hub:1", "core:9 -- tower:eth0", "hub:2 -- till-a:eth0", "hub:3 -- till-b:eth0"],
);
export const GROUP = "239.195.77.1";
export const OTHER_GROUP = "239.195.77.2";

export const faultsOf = (plan: SiteGraph, ...entries: readonly string[]): readonly PracticeFault[] =>
  loadPracticeFaults(`faults:\n${entries.map((entry) => `  - { fault: ${entry} }`).join("\n")}\n`, "faults", plan);
export const faults = (...entries: readonly string[]): readonly PracticeFault[] => faultsOf(PLAN, ...entries);

export const onSite =
  (use: (site: PracticeSite) => Promise<void>, timers: Partial<PracticeTimers> = {}, plan: SiteGraph = PLAN) =>
  async (): Promise<void> => {
    await using site = await raisePracticeSite(plan, { timers: { ...TIMERS, ...timers } });
    await use(site);
  };

/** Sends a short stream and says what each listener got. */
export async function round(
  site: PracticeSite,
  listeners: readonly Listening[],
  group = GROUP,
  packets = 20,
): Promise<number[][]> {
  for (const listener of listeners) listener.clear();
  await send(site, "tower", { group, packets });
  return listeners.map((listener) => [...listener.seqs]);
}
export type Listening = Awaited<ReturnType<typeof join>>;

/** Not `expect.poll`, which loses its test where several run at once. */
export const eventually = (check: () => unknown): Promise<unknown> =>
  vi.waitFor(check, { timeout: 15_000, interval: 50 });
export const fail = (): never => {
  throw new Error("no counter");
};
export const receivesBeyond = (listener: Listening, seq: number): Promise<unknown> =>
  eventually(() => expect(listener.seqs.at(-1)).toBeGreaterThan(seq));

/**
 * Lets streams flow, puts a fault in, and waits until nothing has come for a second. The last report was heard from 2.5 s
 * before the fault (query and response interval) to 1 s after it (the second report of a join, RFC 3376 8.11), and counts
 * for 4.5 s; the packets are 20 ms apart.
 */
export async function ageOut(
  site: PracticeSite,
  fault: readonly PracticeFault[],
  streams: ReadonlyMap<string, Listening>,
): Promise<void> {
  for (const [group, listener] of streams) {
    await startSource(site, "tower", { group, packets: 2_000, intervalMs: 20 });
    await receivesBeyond(listener, 5);
  }
  await site.inject(fault);
  const atTheFault = [...streams.values()].map((listener) => listener.seqs.at(-1) ?? 0);
  for (const [i, listener] of [...streams.values()].entries()) {
    const last = await lastBeforeSilence(listener);
    const packets = last - (atTheFault[i] ?? 0);
    expect(packets).toBeGreaterThan(80);
    expect(packets).toBeLessThan(340);
  }
}

export async function lastBeforeSilence(listener: Listening): Promise<number> {
  for (const giveUpAt = performance.now() + 15_000; performance.now() < giveUpAt; ) {
    const before = listener.seqs.length;
    await sleep(1_000);
    if (listener.seqs.length === before) return listener.seqs.at(-1) ?? 0;
  }
  throw new Error("the stream has not stopped");
}

/** The longest run of missing numbers between the first and the last. */
export const longestGap = (seqs: readonly number[]): number =>
  Math.max(0, ...seqs.slice(1).map((seq, i) => seq - (seqs[i] ?? seq) - 1));

export const isPositive = (value: unknown): boolean => typeof value === "number" && value > 0;
