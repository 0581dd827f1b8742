import { setTimeout as sleep } from "node:timers/promises";
import {
  loadPracticeFaults,
  type PracticeFault,
  type PracticeSite,
  type PracticeTimers,
  raisePracticeSite,
} from "@dyetrace/practice";
import type { SiteGraph } from "@dyetrace/site";
import { describe, expect, test, vi } from "vitest";
import { countFrames, join, range, send, siteOf, startSource } from "./group-traffic.ts";

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

const PLAN = siteOf(
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
const SHARED_PORT = siteOf({ core: "switch*", hub: "unmanaged", tower: "host", "till-a": "host", "till-b": "host" }, [
  "core:3 -- hub:1",
  "core:9 -- tower:eth0",
  "hub:2 -- till-a:eth0",
  "hub:3 -- till-b:eth0",
]);
const GROUP = "239.195.77.1";
const OTHER_GROUP = "239.195.77.2";

const faultsOf = (plan: SiteGraph, ...entries: readonly string[]): readonly PracticeFault[] =>
  loadPracticeFaults(`faults:\n${entries.map((entry) => `  - { fault: ${entry} }`).join("\n")}\n`, "faults", plan);
const faults = (...entries: readonly string[]): readonly PracticeFault[] => faultsOf(PLAN, ...entries);

const onSite =
  (use: (site: PracticeSite) => Promise<void>, timers: Partial<PracticeTimers> = {}, plan: SiteGraph = PLAN) =>
  async (): Promise<void> => {
    await using site = await raisePracticeSite(plan, { timers: { ...TIMERS, ...timers } });
    await use(site);
  };

/** Sends a short stream and says what each listener got. */
async function round(
  site: PracticeSite,
  listeners: readonly Listening[],
  group = GROUP,
  packets = 20,
): Promise<number[][]> {
  for (const listener of listeners) listener.clear();
  await send(site, "tower", { group, packets });
  return listeners.map((listener) => [...listener.seqs]);
}
type Listening = Awaited<ReturnType<typeof join>>;

/** Not `expect.poll`, which loses its test where several run at once. */
const eventually = (check: () => unknown): Promise<unknown> => vi.waitFor(check, { timeout: 15_000, interval: 50 });
const fail = (): never => {
  throw new Error("no counter");
};
const receivesBeyond = (listener: Listening, seq: number): Promise<unknown> =>
  eventually(() => expect(listener.seqs.at(-1)).toBeGreaterThan(seq));

/**
 * Lets streams flow, puts a fault in, and waits until nothing has come for a second. The last report was heard from 2.5 s
 * before the fault (query and response interval) to 1 s after it (the second report of a join, RFC 3376 8.11), and counts
 * for 4.5 s; the packets are 20 ms apart.
 */
async function ageOut(
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

async function lastBeforeSilence(listener: Listening): Promise<number> {
  for (const giveUpAt = performance.now() + 15_000; performance.now() < giveUpAt; ) {
    const before = listener.seqs.length;
    await sleep(1_000);
    if (listener.seqs.length === before) return listener.seqs.at(-1) ?? 0;
  }
  throw new Error("the stream has not stopped");
}

/** The longest run of missing numbers between the first and the last. */
const longestGap = (seqs: readonly number[]): number =>
  Math.max(0, ...seqs.slice(1).map((seq, i) => seq - (seqs[i] ?? seq) - 1));

describe.concurrent("practice faults: frames on a segment", () => {
  test(
    "drop: given one group on a segment, then it is gone from the host's wire and nothing else is; lifted, all is back",
    onSite(async (site) => {
      const [kiosk, office, other] = [
        await join(site, "kiosk", GROUP),
        await join(site, "office", GROUP),
        await join(site, "kiosk", OTHER_GROUP),
      ];
      const onTheWire = await countFrames(site, "kiosk", `ip daddr ${GROUP}`);
      const drop = faults(`drop, on: "edge:1>kiosk:eth0", group: ${GROUP}`);
      await site.inject(drop);
      expect(await round(site, [kiosk, office])).toEqual([[], range(20)]);
      expect(await onTheWire()).toBe(0);
      expect(await round(site, [other], OTHER_GROUP)).toEqual([range(20)]);
      await site.lift(drop);
      expect(await round(site, [kiosk, office])).toEqual([range(20), range(20)]);
    }),
  );

  test(
    "drop: given every 10th, then exactly every 10th is missing; given 25 %, then about a quarter; both at once compose",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const [tenth] = faults(`drop, on: "core:1>edge:24", group: ${GROUP}, every: 10`);
      const [quarter] = faults(`drop, on: "edge:1>kiosk:eth0", group: ${GROUP}, share: 25 %`);
      if (tenth === undefined || quarter === undefined) throw new Error("two faults were written");
      await site.inject([tenth]);
      expect(await round(site, [kiosk], GROUP, 50)).toEqual([range(50).filter((seq) => seq % 10 !== 9)]);
      await site.inject([quarter]);
      const [both = []] = await round(site, [kiosk], GROUP, 400);
      expect(both.filter((seq) => seq % 10 === 9)).toEqual([]);
      // Binomial, 360 trials at 75 %: mean 270, standard deviation 8.2; five of them to either side.
      expect(both.length).toBeGreaterThan(228);
      expect(both.length).toBeLessThan(312);
      await site.lift([tenth]);
      const [random = []] = await round(site, [kiosk], GROUP, 100);
      expect(random.filter((seq) => seq % 10 === 9)).not.toEqual([]);
      await site.lift([quarter]);
      expect(await round(site, [kiosk])).toEqual([range(20)]);
    }),
  );

  test(
    "drop: given larger-than, then a packet of that size passes and one of a byte more does not, in both families",
    onSite(async (site) => {
      const sized = faults('drop, on: "core:1>edge:24", larger-than: 1000 B');
      // IP and UDP headers: 20 + 8 bytes (RFC 791, RFC 768), 40 + 8 bytes for IPv6 (RFC 8200).
      for (const [group, headers] of [
        [GROUP, 28],
        ["ff15::77:1", 48],
      ] as const) {
        await using kiosk = await join(site, "kiosk", group);
        await site.inject(sized);
        await send(site, "tower", { group, packets: 5, sizeBytes: 1000 - headers });
        expect(kiosk.seqs).toEqual(range(5));
        await send(site, "tower", { group, packets: 5, sizeBytes: 1001 - headers });
        expect(kiosk.seqs).toEqual(range(5));
        await site.lift(sized);
        await send(site, "tower", { group, packets: 5, sizeBytes: 1001 - headers });
        expect(kiosk.seqs).toEqual([...range(5), ...range(5)]);
      }
    }),
  );

  test(
    "drop: given a node, then it loses for everyone behind it the same packets, and for nobody else",
    onSite(async (site) => {
      const listeners = [
        await join(site, "kiosk", GROUP),
        await join(site, "till-b", GROUP),
        await join(site, "office", GROUP),
      ];
      const drop = faults(`drop, on: edge, group: ${GROUP}, share: 50 %`);
      await site.inject(drop);
      const [kiosk = [], till = [], office = []] = await round(site, listeners, GROUP, 100);
      expect(kiosk.length).toBeLessThan(80);
      expect(till).toEqual(kiosk);
      expect(office).toEqual(range(100));
      await site.lift(drop);
      expect(await round(site, listeners)).toEqual([range(20), range(20), range(20)]);
    }),
  );

  test(
    "drop: given the sending host's segment, then nobody receives, in the direction named only",
    onSite(async (site) => {
      const [kiosk, tower] = [await join(site, "kiosk", GROUP), await join(site, "tower", OTHER_GROUP)];
      const drop = faults('drop, on: "tower:eth0>core:9"');
      await site.inject(drop);
      expect(await round(site, [kiosk])).toEqual([[]]);
      await send(site, "office", { group: OTHER_GROUP, packets: 10 });
      expect(tower.seqs).toEqual(range(10));
      await site.lift(drop);
      expect(await round(site, [kiosk])).toEqual([range(20)]);
    }),
  );

  test(
    "duplicate: given every 4th on a segment, then exactly those come twice; given all, then all do",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      for (const [fault, isTwice] of [
        [faults(`duplicate, on: "core:1>edge:24", group: ${GROUP}, every: 4`), (seq: number) => seq % 4 === 3],
        [faults('duplicate, on: "edge:1>kiosk:eth0"'), () => true],
        [faults(`duplicate, on: "tower:eth0>core:9", group: ${GROUP}`), () => true],
      ] as const) {
        await site.inject(fault);
        const [seqs = []] = await round(site, [kiosk]);
        expect(seqs).toEqual(range(20).flatMap((seq) => (isTwice(seq) ? [seq, seq] : [seq])));
        await site.lift(fault);
      }
      expect(await round(site, [kiosk])).toEqual([range(20)]);
    }),
  );

  test(
    "reorder: given every 10th held for 60 ms, then those come late, after later ones, and none is lost or doubled",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const reorder = faults(`reorder, on: "core:1>edge:24", group: ${GROUP}, every: 10, delay: 60ms`);
      await site.inject(reorder);
      const [seqs = []] = await round(site, [kiosk], GROUP, 60);
      expect(seqs.toSorted((a, b) => a - b)).toEqual(range(60));
      // RFC 4737, 3.3: reordered is what comes with a number smaller than one that came before.
      const late = seqs.filter((seq, i) => seqs.slice(0, i).some((earlier) => earlier > seq));
      expect(late).toEqual([9, 19, 29, 39, 49]); // after 59 nothing follows that could overtake it
      await site.lift(reorder);
      expect(await round(site, [kiosk])).toEqual([range(20)]);
      expect((await site.exec("core", ["ip", "-o", "link"])).stdout).not.toMatch("+fault");
    }),
  );

  test(
    "rate-limit: given 1 Mbit/s, then a stream of 8 Mbit/s gets about that through; given 50 packets/s, then a policer counts packets",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const stream = { group: GROUP, packets: 500, intervalMs: 1, sizeBytes: 1000 };
      const shape = faults('rate-limit, on: "core:1>edge:24", rate: 1 Mbit/s, burst: 4 kB');
      await site.inject(shape);
      await send(site, "tower", stream);
      // In 0.5 s pass 62 kB, the burst of 4 kB and the queue of 50 ms (6 kB): 69 packets of 1042 bytes on the wire.
      expect(kiosk.seqs.length).toBeGreaterThan(50);
      expect(kiosk.seqs.length).toBeLessThan(110);
      await site.lift(shape);
      kiosk.clear();

      const police = faults('rate-limit, on: "core:1>edge:24", packets: 50, burst: 5');
      await site.inject(police);
      await send(site, "tower", { group: GROUP, packets: 200, intervalMs: 5, sizeBytes: 100 });
      expect(kiosk.seqs.length).toBeGreaterThan(40); // 50/s for 1 s, and the burst
      expect(kiosk.seqs.length).toBeLessThan(75);
      await site.lift(police);
      kiosk.clear();
      await send(site, "tower", stream);
      expect(kiosk.seqs).toEqual(range(500));
    }),
  );

  test(
    "link-down: given a link, then nothing passes; lifted, the next query brings the group back",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const down = faults('link-down, on: "edge:24>core:1"');
      await site.inject(down);
      expect(await round(site, [kiosk])).toEqual([[]]);
      await site.lift(down);
      await site.settled();
      expect(await round(site, [kiosk])).toEqual([range(20)]);
    }),
  );
});

describe.concurrent("practice faults: membership messages", () => {
  test(
    "drop-queries: given the way to one host, then both its groups age out there and its neighbour's do not",
    onSite(async (site) => {
      const [kiosk, kioskV6, stand] = [
        await join(site, "kiosk", GROUP),
        await join(site, "kiosk", "ff15::77:1"),
        await join(site, "stand", GROUP),
      ];
      const queries = await countFrames(site, "kiosk", "igmp type 0x11");
      const drop = faults('drop-queries, on: "edge:1>kiosk:eth0"');
      await ageOut(
        site,
        drop,
        new Map([
          [GROUP, kiosk],
          ["ff15::77:1", kioskV6],
        ]),
      );
      const [last, lastV6] = [kiosk.seqs.at(-1) ?? 0, kioskV6.seqs.at(-1) ?? 0];
      await receivesBeyond(stand, last + 40);
      expect(longestGap(stand.seqs)).toBe(0);
      const heard = await queries();
      await site.settled(); // everyone else has heard one more
      expect(await queries()).toBe(heard);
      await site.lift(drop);
      await receivesBeyond(kiosk, last);
      await receivesBeyond(kioskV6, lastV6);
    }),
  );

  test(
    "drop-reports: given one host behind a shared port, then its joins do not count and its neighbour's do",
    onSite(async (site) => {
      const drop = faults('drop-reports, on: "hub:1>edge:3", host: till-a');
      await site.inject(drop);
      const [tillA, tillB] = [await join(site, "till-a", GROUP), await join(site, "till-b", OTHER_GROUP)];
      expect(await round(site, [tillA])).toEqual([[]]);
      expect(await round(site, [tillB], OTHER_GROUP)).toEqual([range(20)]);
      await site.lift(drop);
      await site.settled();
      expect(await round(site, [tillA])).toEqual([range(20)]);
    }),
  );

  test(
    "drop-leaves: given a host's segment, then the stream runs on after its leave; lifted, it ends in two last-member intervals",
    onSite(async (site) => {
      const stop = faults('drop-leaves, on: "kiosk:eth0>edge:1"');
      const frames = await countFrames(site, "kiosk", `ip daddr ${GROUP}`);
      const source = await startSource(site, "tower", { group: GROUP, packets: 2_000, intervalMs: 10 });
      const framesAfterLeaving = async (): Promise<number> => {
        await (await join(site, "kiosk", GROUP)).leave();
        await sleep(1_700); // leave delay is 2 x 0.5 s
        const before = await frames();
        await sleep(500);
        return (await frames()) - before;
      };
      expect(await framesAfterLeaving()).toBe(0);
      await site.inject(stop);
      expect(await framesAfterLeaving()).toBeGreaterThan(20);
      await site.lift(stop);
      expect(await framesAfterLeaving()).toBe(0);
      source.signal("SIGKILL");
    }),
  );

  test(
    "no-querier: given it is off, then its switch floods; lifted, it stops flooding",
    onSite(async (site) => {
      const frames = await countFrames(site, "office", `ip daddr ${GROUP}`);
      const off = faults("no-querier, on: core");
      await site.inject(off);
      await round(site, []);
      expect(await frames()).toBe(20);
      await site.lift(off);
      await site.settled();
      await round(site, []);
      expect(await frames()).toBe(20);
    }),
  );

  test(
    "no-querier: given it is silent, then a stream ages out behind it; lifted, the next query brings it back",
    onSite(async (site) => {
      const office = await join(site, "office", GROUP);
      const queries = await countFrames(site, "office", "igmp type 0x11");
      const silent = faults("no-querier, on: core, silent: true");
      await ageOut(site, silent, new Map([[GROUP, office]]));
      const [last, heard] = [office.seqs.at(-1) ?? 0, await queries()];
      await sleep(2_500); // more than a query interval
      expect(await queries()).toBe(heard);
      expect(office.seqs.at(-1)).toBe(last);
      await site.lift(silent);
      await receivesBeyond(office, last);
    }),
  );

  test(
    "second-querier: given a box with a lower address, then it queries and the querier is silent, in both families; lifted, the querier takes over again",
    onSite(async (site) => {
      const count = async (source: string): Promise<() => Promise<number>> => countFrames(site, "kiosk", source);
      const own = [
        await count("ip saddr 10.77.1.1 igmp type 0x11"),
        await count("ip6 saddr fe80::1:1 icmpv6 type 130"),
      ];
      const foreign = [
        await count("ip saddr 10.77.0.1 igmp type 0x11"),
        await count("ip6 saddr fe80::1 icmpv6 type 130"),
      ];
      const look = (counters: readonly (() => Promise<number>)[]): Promise<number[]> =>
        Promise.all(counters.map((read) => read()));
      const second = faults("second-querier, on: edge");
      await site.inject(second);
      await eventually(async () => expect((await look(foreign)).every(isPositive)).toBe(true));
      const before = { own: await look(own), foreign: await look(foreign) };
      await sleep(4_500); // two query intervals
      expect(await look(own)).toEqual(before.own);
      for (const [i, now] of (await look(foreign)).entries()) expect(now).toBeGreaterThan(before.foreign[i] ?? 0);
      await site.lift(second);
      for (const [i, read] of own.entries())
        await eventually(async () => expect(await read()).toBeGreaterThan(before.own[i] ?? 0));
      expect((await site.exec("edge", ["ip", "-o", "link"])).stdout).not.toMatch("+querier");
    }),
  );

  test(
    "igmp-version: given IGMPv2 and MLDv1, then the querier's queries have their old, shorter form; lifted, the new one",
    onSite(async (site) => {
      // With the router alert: 24 + 8 bytes (RFC 2236), 24 + 12 (RFC 3376); MLD 8 + 24 (RFC 2710), 8 + 28 (RFC 3810).
      const old = [
        await countFrames(site, "kiosk", "igmp type 0x11 ip length 32"),
        await countFrames(site, "kiosk", "icmpv6 type 130 ip6 length 32"),
      ];
      const current = [
        await countFrames(site, "kiosk", "igmp type 0x11 ip length 36"),
        await countFrames(site, "kiosk", "icmpv6 type 130 ip6 length 36"),
      ];
      const look = (counters: readonly (() => Promise<number>)[]): Promise<number[]> =>
        Promise.all(counters.map((read) => read()));
      const version = faults("igmp-version, on: core, igmp: 2, mld: 1");
      await site.inject(version);
      await site.settled();
      expect(await look(old)).toEqual([expect.toSatisfy(isPositive), expect.toSatisfy(isPositive)]);
      await site.lift(version);
      const before = { old: await look(old), current: await look(current) };
      await site.settled();
      expect(await look(old)).toEqual(before.old);
      for (const [i, now] of (await look(current)).entries()) expect(now).toBeGreaterThan(before.current[i] ?? 0);
    }),
  );

  test(
    "fast-leave: given IGMPv2 and a shared port, then a neighbour's leave cuts the stream; without it, not",
    onSite(
      async (site) => {
        const missingAtNeighbour = async (): Promise<number> => {
          await site.settled(); // the next general query, which would mend it, is then seconds away
          await using tillA = await join(site, "till-a", GROUP);
          const tillB = await join(site, "till-b", GROUP);
          const source = await startSource(site, "tower", { group: GROUP, packets: 750, intervalMs: 10 });
          await receivesBeyond(tillA, 10);
          await tillB.leave();
          await source.exit;
          return longestGap(tillA.seqs);
        };
        const fast = faultsOf(SHARED_PORT, 'fast-leave, on: "core:3"');
        await site.inject([...faultsOf(SHARED_PORT, "igmp-version, on: core, igmp: 2"), ...fast]);
        expect(await missingAtNeighbour()).toBeGreaterThan(50); // 10 ms each
        await site.lift(fast);
        expect(await missingAtNeighbour()).toBe(0);
      },
      { queryIntervalMs: 6_000, membershipIntervalMs: 12_500, otherQuerierIntervalMs: 12_250 },
      SHARED_PORT,
    ),
  );

  test(
    "querier-timers: given a membership interval below the query interval, then the stream comes and goes; lifted, it stays",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const short = faults("querier-timers, on: edge, membership-interval: 800ms");
      await site.inject(short);
      await site.settled();
      const stream = { group: GROUP, packets: 450, intervalMs: 10 };
      await send(site, "tower", stream);
      expect(longestGap(kiosk.seqs)).toBeGreaterThan(40); // 2 s less 0.8 s, and 10 ms each
      await site.lift(short);
      await site.settled();
      kiosk.clear();
      await send(site, "tower", stream);
      expect(kiosk.seqs).toEqual(range(450));
    }),
  );
});

describe.concurrent("practice faults: switches and ports", () => {
  /** Frames of a group that nobody joined, on the wire of `stand`. */
  const leakAt = async (site: PracticeSite, host = "stand"): Promise<() => Promise<number>> => {
    const frames = await countFrames(site, host, `ip daddr ${GROUP}`);
    return async () => {
      const before = await frames();
      await round(site, []);
      return (await frames()) - before;
    };
  };

  test(
    "snooping-off: given a switch, then it floods; lifted, it stops",
    onSite(async (site) => {
      await using kiosk = await join(site, "kiosk", GROUP); // brings the stream as far as the edge
      const leak = await leakAt(site);
      expect(await leak()).toBe(0);
      const off = faults("snooping-off, on: edge");
      await site.inject(off);
      expect(await leak()).toBe(20);
      await site.lift(off);
      await site.settled();
      expect(await leak()).toBe(0);
      expect(await round(site, [kiosk])).toEqual([range(20)]);
    }),
  );

  test.each([
    ["IGMP", GROUP, "igmp type 0x22"],
    ["MLD", "ff15::77:1", "icmpv6 type 143"],
  ])(
    "reports of %s: given a join, then a switch's other hosts do not hear it (RFC 4541, section 2.1.1); behind a router's port or a switch that does not snoop they do",
    (_, group, match) =>
      onSite(async (site) => {
        // A bridge reports groups of its own (all-snoopers, RFC 4286); those of the host are told by its MAC address.
        const byStand = `ether saddr ${site.addressOf("stand").mac} ${match}`;
        const heardBy = await Promise.all(["kiosk", "office"].map((host) => countFrames(site, host, byStand)));
        const [kiosk = fail, office = fail] = heardBy;
        {
          await using stand = await join(site, "stand", group);
          expect(await round(site, [stand], group)).toEqual([range(20)]); // the querier's switch heard the report
        }
        expect([await kiosk(), await office()]).toEqual([0, 0]);
        for (const entry of ["snooping-off, on: edge", 'router-port, on: "edge:1"']) {
          const [before, fault] = [await kiosk(), faults(entry)];
          await site.inject(fault);
          await using _stand = await join(site, "stand", group);
          await eventually(async () => expect(await kiosk(), entry).toBeGreaterThan(before));
          await site.lift(fault);
        }
        const lifted = await kiosk();
        await using _stand = await join(site, "stand", group);
        expect([await kiosk(), await office()]).toEqual([lifted, 0]);
      })(),
  );

  test(
    "table-size: given one group too many, then the switch gives up snooping and floods; lifted, it snoops again",
    onSite(async (site) => {
      const full = faults("table-size, on: edge, max: 4");
      await site.inject(full);
      const listeners = [await join(site, "kiosk", GROUP), await join(site, "kiosk", OTHER_GROUP)];
      const leak = await leakAt(site);
      expect(await leak()).toBe(20);
      await site.lift(full);
      await site.settled();
      expect(await leak()).toBe(0);
      expect(await round(site, listeners.slice(0, 1))).toEqual([range(20)]);
    }),
  );

  test(
    "router-port: given always, then one port gets every group; given never, then the querier's port is no router port",
    onSite(async (site) => {
      await using kiosk = await join(site, "kiosk", GROUP);
      const leak = await leakAt(site);
      const always = faults('router-port, on: "edge:2"');
      await site.inject(always);
      expect(await leak()).toBe(20);
      await site.lift(always);
      expect(await leak()).toBe(0);
      expect(kiosk.seqs).toHaveLength(40);

      const routerPorts = async (): Promise<string> =>
        (await site.exec("edge", ["bridge", "-d", "mdb", "show"])).stdout;
      expect(await routerPorts()).toMatch(/router ports on br0: p24/);
      const never = faults('router-port, on: "edge:24", mode: never');
      await site.inject(never);
      await site.settled();
      expect(await routerPorts()).not.toMatch(/router ports on br0: p24/);
      await site.lift(never);
      await site.settled();
      expect(await routerPorts()).toMatch(/router ports on br0: p24/);
    }),
  );

  test(
    "to-unicast: given a port, then frames bear the host's own address; lifted, the group's",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const asUnicast = await countFrames(
        site,
        "kiosk",
        `ether daddr ${site.addressOf("kiosk").mac} ip daddr ${GROUP}`,
      );
      const convert = faults('to-unicast, on: "edge:1"');
      await site.inject(convert);
      expect(await round(site, [kiosk])).toEqual([range(20)]);
      expect(await asUnicast()).toBe(20);
      await site.lift(convert);
      expect(await round(site, [kiosk])).toEqual([range(20)]);
      expect(await asUnicast()).toBe(20);
    }),
  );

  test(
    "mtu: given a port, then only packets over it vanish, and the switch still queries; lifted, none does",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const small = faults('mtu, on: "edge:1", size: 1000 B');
      await site.inject(small);
      await send(site, "tower", { group: GROUP, packets: 5, sizeBytes: 1200 });
      expect(kiosk.seqs).toEqual([]);
      await send(site, "tower", { group: GROUP, packets: 5, sizeBytes: 900 });
      expect(kiosk.seqs).toEqual(range(5));
      await site.settled();
      await site.lift(small);
      await send(site, "tower", { group: GROUP, packets: 5, sizeBytes: 1400 });
      expect(kiosk.seqs).toEqual([...range(5), ...range(5)]);
    }),
  );

  test(
    "hairpin: given the port of an unmanaged switch, then hosts behind it get each other's packets twice; lifted, once",
    onSite(async (site) => {
      const tillB = await join(site, "till-b", GROUP);
      const hairpin = faults('hairpin, on: "edge:3"');
      await site.inject(hairpin);
      await send(site, "till-a", { group: GROUP, packets: 10 });
      expect(tillB.seqs.toSorted((a, b) => a - b)).toEqual(range(10).flatMap((seq) => [seq, seq]));
      await site.lift(hairpin);
      tillB.clear();
      await send(site, "till-a", { group: GROUP, packets: 10 });
      expect(tillB.seqs).toEqual(range(10));
    }),
  );

  test(
    "isolated: given two ports, then they do not reach each other and do reach the rest; lifted, they do",
    onSite(async (site) => {
      const listeners = [await join(site, "office", GROUP), await join(site, "kiosk", GROUP)];
      const isolated = faults('isolated, on: "core:9"', 'isolated, on: "core:10"');
      await site.inject(isolated);
      expect(await round(site, listeners)).toEqual([[], range(20)]);
      await site.lift(isolated);
      await site.settled(); // the isolated port could not hear its neighbour's report
      expect(await round(site, listeners)).toEqual([range(20), range(20)]);
    }),
  );

  test.each([GROUP, "ff15::77:1"])(
    "static-entry: given %s on a port, then the port gets it unasked; lifted, no more",
    (group) =>
      onSite(async (site) => {
        await using _kiosk = await join(site, "kiosk", group);
        const frames = await countFrames(site, "stand", `${group.includes(":") ? "ip6" : "ip"} daddr ${group}`);
        const entry = faults(`static-entry, on: "edge:2", group: "${group}"`);
        await site.inject(entry);
        await round(site, [], group);
        expect(await frames()).toBe(20);
        await site.lift(entry);
        await round(site, [], group);
        expect(await frames()).toBe(20);
      })(),
  );

  test(
    "forward-delay: given a port held for 4 s, then nothing passes for that long; lifted at once, it forwards at once",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const hold = faults('forward-delay, on: "edge:1", hold: 4s');
      const heldAt = performance.now();
      await site.inject(hold);
      const source = await startSource(site, "tower", { group: GROUP, packets: 3_000, intervalMs: 10 });
      await receivesBeyond(kiosk, 0);
      expect(performance.now() - heldAt).toBeGreaterThan(3_500);
      source.signal("SIGKILL");
      await site.lift(hold);
      await site.inject(hold);
      await site.lift(hold);
      await site.settled();
      expect(await round(site, [kiosk])).toEqual([range(20)]);
      const bridge = await site.exec("edge", ["ip", "-d", "link", "show", "br0"]);
      expect(bridge.stdout).toMatch(/forward_delay 1500 .*stp_state 0/);
    }),
  );
});

describe.concurrent("practice faults: hosts", () => {
  test(
    "host-firewall: given UDP blocked, then frames reach the wire and no socket; lifted, the socket too",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const frames = await countFrames(site, "kiosk", `ip daddr ${GROUP}`);
      const block = faults("host-firewall, on: kiosk, block: udp");
      await site.inject(block);
      expect(await round(site, [kiosk])).toEqual([[]]);
      expect(await frames()).toBe(20);
      await site.lift(block);
      expect(await round(site, [kiosk])).toEqual([range(20)]);
    }),
  );

  test(
    "host-firewall: given IGMP blocked, then queries reach the wire unanswered and the stream ages out; lifted, it is back",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const queries = await countFrames(site, "kiosk", "igmp type 0x11");
      const block = faults("host-firewall, on: kiosk, block: igmp");
      await ageOut(site, block, new Map([[GROUP, kiosk]]));
      const [last, heard] = [kiosk.seqs.at(-1) ?? 0, await queries()];
      await eventually(async () => expect(await queries()).toBeGreaterThan(heard));
      expect(kiosk.seqs.at(-1)).toBe(last);
      await site.lift(block);
      await receivesBeyond(kiosk, last);
    }),
  );

  test(
    "reverse-path: given one source, then its packets stop at the host and the kernel counts them; another's do not",
    onSite(async (site) => {
      const kiosk = await join(site, "kiosk", GROUP);
      const frames = await countFrames(site, "kiosk", `ip daddr ${GROUP}`);
      const refused = async (): Promise<number> => {
        const [names = "", values = ""] = (
          await site.exec("kiosk", ["grep", "^TcpExt", "/proc/net/netstat"])
        ).stdout.split("\n");
        return Number(values.split(" ")[names.split(" ").indexOf("IPReversePathFilter")]);
      };
      const reverse = faults("reverse-path, on: kiosk, source: tower");
      await site.inject(reverse);
      expect(await round(site, [kiosk])).toEqual([[]]);
      expect(await frames()).toBe(20);
      expect(await refused()).toBeGreaterThanOrEqual(20);
      await send(site, "office", { group: GROUP, packets: 10 });
      expect(kiosk.seqs).toEqual(range(10));
      await site.lift(reverse);
      expect(await round(site, [kiosk])).toEqual([range(20)]);
    }),
  );
});

describe.concurrent("practice faults: together", () => {
  test(
    "given two that change one setting, then the second is refused and the first stands on",
    onSite(async (site) => {
      const off = faults("snooping-off, on: edge");
      await site.inject(off);
      const second = [
        ...faults(`drop, on: "core:1>edge:24", group: ${GROUP}`),
        ...faults("table-size, on: edge, max: 100"),
      ];
      await expect(site.inject(second)).rejects.toMatchObject({
        code: "PRACTICE_FAULT_INVALID",
        message: expect.stringContaining("same setting"),
      });
      await expect(site.inject(off)).rejects.toMatchObject({ code: "PRACTICE_FAULT_INVALID" });
      await expect(site.lift(second)).rejects.toMatchObject({ code: "PRACTICE_FAULT_INVALID" });
      await using kiosk = await join(site, "kiosk", GROUP);
      expect(await round(site, [kiosk])).toEqual([range(20)]); // the drop, before it in the list, was not put in
      await site.lift(off);
    }),
  );

  test(
    "given one that the kernel refuses, then those before it in the list are taken out again",
    onSite(async (site) => {
      await site.exec("edge", ["ip", "link", "set", "p2", "name", "gone"]);
      const list = faults(`drop, on: "core:1>edge:24", group: ${GROUP}`, 'mtu, on: "edge:2", size: 1000 B');
      await expect(site.inject(list)).rejects.toMatchObject({
        code: "PRACTICE_FAILED",
        message: expect.stringMatching(/ip -n edge link set p2 mtu 1000.*Cannot find device/s),
      });
      await using kiosk = await join(site, "kiosk", GROUP);
      expect(await round(site, [kiosk])).toEqual([range(20)]);
    }),
  );
});

const isPositive = (value: unknown): boolean => typeof value === "number" && value > 0;
