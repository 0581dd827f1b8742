import { describe, expect, test } from "vitest";
import { countFrames, join, range, send } from "../group-traffic.ts";
import { faults, GROUP, OTHER_GROUP, onSite, round } from "../support/fault-site.ts";

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
