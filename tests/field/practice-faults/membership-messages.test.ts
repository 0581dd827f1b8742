import { setTimeout as sleep } from "node:timers/promises";
import { describe, expect, test } from "vitest";
import { countFrames, join, range, send, startSource } from "../group-traffic.ts";
import {
  ageOut,
  eventually,
  faults,
  faultsOf,
  GROUP,
  isPositive,
  longestGap,
  OTHER_GROUP,
  onSite,
  receivesBeyond,
  round,
  SHARED_PORT,
} from "../support/fault-site.ts";

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
