import type { PracticeSite } from "@dyetrace/practice";
import { describe, expect, test } from "vitest";
import { countFrames, join, range, send, startSource } from "../group-traffic.ts";
import { eventually, fail, faults, GROUP, OTHER_GROUP, onSite, receivesBeyond, round } from "../support/fault-site.ts";

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
