import { Check } from "@dyetrace/schema/check";
import { knownUseOf } from "@dyetrace/site";
import { groupKinship, parseIpAddress } from "@dyetrace/wire";
import { InventorySchema } from "@dyetrace/wire/inventory/inventory-schema";
import { type AgentSight, AgentSightSchema, type SightFlow } from "@dyetrace/wire/inventory/sight-schema";
import { expect, test } from "vitest";
import type { AgentLook } from "./agent-look.ts";
import { compareInventories } from "./compare-inventories.ts";
import { suggestFreeGroups } from "./free-groups.ts";
import { mergeSights } from "./merge-sights.ts";

const flow = (changes: Partial<SightFlow> = {}): SightFlow => ({
  ...{ group: "239.196.4.7", protocol: 17, port: 5004, source: "192.0.2.9", hardware: "02:00:00:00:00:09" },
  ...{ otherHardwareFrames: 0, vlanId: null, direction: "in", frames: 100, bytes: 100_000, leastBytes: 1000 },
  ...{ mostBytes: 1000, firstNs: 0, lastNs: 2e9, ttlLow: 8, ttlHigh: 8, dscpLow: 34, dscpHigh: 34 },
  ...{ asUnicastFrames: 0, look: "rtp" },
  ...changes,
});
const sight = (changes: Partial<AgentSight> = {}): AgentSight => ({
  ...{ lookedNs: 2e9, isWhole: true, flows: [], furtherFrames: 0, asks: [], furtherAsks: 0, queriers: [] },
  ...{ joined: [], addresses: ["192.0.2.1/24"], dropped: 0 },
  ...changes,
});
const look = (agent: string, changes: Partial<AgentSight> | null): AgentLook => ({
  agent,
  sight: changes === null ? null : sight(changes),
  why: changes === null ? "its connection was lost" : "",
});
const merged = (...looks: readonly AgentLook[]) =>
  mergeSights({ id: "aa", takenAt: "2026-11-30T02:00:00.000Z", forMs: 2000, looks });

test("inventory: given two agents that saw one sender, then its figures are of who got most of it, and TTL and DSCP of who is nearest", () => {
  const inventory = merged(
    look("kiosk", { flows: [flow({ frames: 90, bytes: 90_000, ttlLow: 9, ttlHigh: 9 })], joined: ["239.196.4.7"] }),
    look("annex", {
      flows: [flow({ ttlLow: 7, ttlHigh: 7, dscpHigh: 0, dscpLow: 0, hardware: "02:00:00:00:00:fe" })],
      ...{ joined: ["239.196.4.7"], addresses: ["198.51.100.1/24"] }, // behind a router
    }),
  );
  const [row] = inventory.groups;
  expect(row?.senders).toEqual([
    {
      ...{ address: "192.0.2.9", agent: null, hardware: "02:00:00:00:00:09", rateBps: 400_000, packetsPerSecond: 50 },
      ...{
        leastBytes: 1000,
        mostBytes: 1000,
        ttl: 9,
        dscp: 34,
        format: "rtp",
        carries: "RTP",
        seenBy: ["annex", "kiosk"],
      },
    },
  ]);
  expect(row?.remarks).toEqual(["DSCP of 192.0.2.9 is 34 at kiosk and 0 at annex: something on the way changes it"]);
});

test("inventory: given a sender that agents see behind a router alone, then its own Ethernet address is unknown", () => {
  const inventory = merged(look("annex", { flows: [flow()], addresses: ["198.51.100.1/24"] }));
  expect(inventory.groups[0]?.senders?.[0]?.hardware).toBeNull();
});

test("inventory: given hosts that have no address yet, then each is one by its card, on this link, and nothing is said of two devices", () => {
  const cards = ["02:00:00:00:00:09", "02:00:00:00:00:0a"];
  const from = (hardware: string) =>
    flow({ group: "224.0.0.22", protocol: 2, port: null, source: "0.0.0.0", hardware });
  const take = (some: readonly string[]) => merged(look("kiosk", { flows: some.map(from) }));
  const both = take(cards);
  expect(both.groups[0]?.senders?.map(({ address, hardware }) => [address, hardware]).toSorted()).toEqual(
    cards.map((card) => ["0.0.0.0", card]),
  );
  expect(both.groups[0]?.remarks).toEqual([]);
  expect(JSON.stringify(compareInventories(take(cards.slice(1)), take(cards.slice(0, 1))))).not.toContain(
    "another device",
  );
});

test("inventory: given members and no frames, then nobody sends; given a stranger's request alone, then whether anybody sends is unknown", () => {
  const ask = { host: "192.0.2.5", hardware: "02:00:00:00:00:05", isWanted: true, agoNs: 1e9 };
  const inventory = merged(
    look("kiosk", {
      joined: ["239.196.4.8"],
      asks: [
        { ...ask, group: "239.196.4.9" },
        { ...ask, group: "239.196.4.10", isWanted: false }, // has left
      ],
    }),
  );
  expect(inventory.groups.map(({ group, senders, members }) => [group, senders, members])).toEqual([
    ["239.196.4.8", [], ["kiosk"]],
    ["239.196.4.9", null, []],
  ]);
});

test("inventory: given a group that comes where nobody asked, then the place is told, except of control groups, VLAN tags and what the host sends", () => {
  const places = (changes: Partial<SightFlow>, joined: AgentSight["joined"] = []) =>
    merged(look("kiosk", { flows: [flow(changes)], joined })).groups[0]?.unaskedAt;
  expect(places({})).toEqual(["kiosk"]);
  expect(places({}, ["239.196.4.7"])).toEqual([]);
  expect(places({}, null)).toEqual([]); // unknown
  expect(places({ group: "224.0.0.251" })).toEqual([]);
  expect(places({ vlanId: 20 })).toEqual([]);
  expect(places({ direction: "out" })).toEqual([]);
});

test("inventory: given groups of one Ethernet address, then each is told of the others, but for those that never leave their host", () => {
  const joined = ["ff01::1", "ff02::1", "ff05::1", "239.1.1.1", "238.129.1.1"];
  const shared = merged(look("kiosk", { joined })).groups.map((row) => [row.group, row.sharesLinkAddressWith] as const);
  // RFC 4291 section 2.7: ff01::/16 is interface-local; RFC 2464 section 7; RFC 1112 section 6.4
  expect(new Map(shared)).toEqual(
    new Map<string, readonly string[]>([
      ["238.129.1.1", ["239.1.1.1"]],
      ["239.1.1.1", ["238.129.1.1"]],
      ["ff01::1", []],
      ["ff02::1", ["ff05::1"]],
      ["ff05::1", ["ff02::1"]],
    ]),
  );
});

test("inventory: given agents that could not look, full tables and lost frames, then each is said", () => {
  const inventory = merged(
    look("kiosk", { furtherFrames: 7, dropped: 3, isWhole: false, lookedNs: 1e9 }),
    look("desk", null),
  );
  expect(inventory.summarised.join("\n")).toMatch(
    /desk did not look: its connection was lost[\s\S]*7 frames[\s\S]*dropped 3[\s\S]*watched 1.0 s/,
  );
  expect(inventory.agents.map(({ lookedMs }) => lookedMs)).toEqual([1000, null]);
});

test("inventory: given many agents of which the same is to be said, then one sentence says it of all", () => {
  const names = Array.from({ length: 30 }, (_, index) => `kiosk-${index + 1}`);
  const silent = merged(...names.map((name) => look(name, null))).summarised;
  expect(silent).toHaveLength(1);
  expect(silent[0]).toMatch(
    /^30 agents did not look: kiosk-1, .*kiosk-8 and 22 more\. The reason at each: its connection was lost$/,
  );
  const unknown = merged(...names.slice(0, 2).map((name) => look(name, { joined: null }))).summarised;
  expect(unknown).toEqual(["Which groups the hosts of kiosk-1 and kiosk-2 are members of is unknown"]);
});

test("inventory: given what the schemas of the wire allow, then the result is what the schema of the answer allows", () => {
  const looks = [look("kiosk", { flows: [flow()], joined: ["239.196.4.7"] }), look("desk", null)];
  for (const one of looks) if (one.sight !== null) expect(Check(AgentSightSchema, one.sight)).toBe(true);
  expect(Check(InventorySchema, merged(...looks))).toBe(true);
});

test("free groups: given any in use, then none of those suggested shares an Ethernet address with one of them", () => {
  const inUse = ["239.192.16.1", "239.64.17.1", "224.0.0.251", "ff18::8000:2"]; // 239.64.17.1 is an alias of 239.192.17.1
  const free = suggestFreeGroups(inUse);
  expect(free).toHaveLength(8);
  for (const one of free) {
    for (const other of inUse) {
      const [a, b] = [parseIpAddress(one), parseIpAddress(other)];
      expect(a === null || b === null ? "no address" : groupKinship(a, b)).toBeNull();
    }
  }
  expect(free).not.toContain("239.192.17.1");
});

test("known uses: given groups of the registries and standards, then they are told, and which of them tests leave alone", () => {
  const use = (text: string) => {
    const group = parseIpAddress(text);
    return group === null ? null : knownUseOf(group);
  };
  // IANA's registries; RFC 2365 section 6.2; RFC 4291 section 2.7.1; RFC 7346 section 2
  expect(use("224.0.0.251")).toEqual({ use: "multicast DNS (RFC 6762)", isControl: true });
  expect(use("224.0.1.129")?.use).toContain("Precision Time Protocol");
  expect(use("239.193.1.1")).toEqual({ use: "the organisation's own use (RFC 2365 section 6.2)", isControl: false });
  expect(use("ff02::1:ff12:3456")).toMatchObject({ isControl: true });
  expect(use("ff02::1:ff12:3456")?.use).toContain("solicited-node");
  expect(use("ff05::fb")?.use).toContain("multicast DNS");
  expect(use("ff18::8000:1")).toEqual({
    use: "transient, organization-local (RFC 4291 section 2.7)",
    isControl: false,
  });
  expect(use("ff3e::8000:1")?.use).toContain("source-specific");
  expect(use("225.1.1.1")).toBeNull(); // reserved: no registry says anything
});

test("comparing: given another card, rate and member, then each is told, and a group that is new or gone", () => {
  const before = merged(look("kiosk", { flows: [flow(), flow({ port: 6000 })], joined: ["239.196.4.7"] }));
  const now = merged(
    look("kiosk", { flows: [flow({ hardware: "02:00:00:00:00:0a", bytes: 500_000 }), flow({ port: 7000 })] }),
  );
  const { appeared, gone, changed, doubts } = compareInventories(now, before);
  expect([appeared, gone].map((list) => list.map(({ port }) => port))).toEqual([[7000], [6000]]);
  expect(changed.map(({ port }) => port)).toEqual([5004]);
  expect(changed[0]?.what.join("; ")).toMatch(/2 Mbit\/s, was 400 kbit\/s.*another device.*kiosk: no longer a member/);
  expect(doubts).toEqual([]);
  expect(compareInventories(now, now)).toMatchObject({ appeared: [], gone: [], changed: [] });
});
