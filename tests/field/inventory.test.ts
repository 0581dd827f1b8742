import { execFileSync } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import type { PracticeProcess } from "@dyetrace/practice";
import type { Inventory, InventoryGroup } from "@dyetrace/wire/inventory/inventory-schema";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";

/**
 * What is on the wire, against what was put there: six senders on a host without an agent, plain sockets of Python's.
 *
 *   studio (no agent) -- core --+-- hub --+-- kiosk, a member
 *                     (querier) |         +-- desk, not a member, on the same hub
 *                               +-- tower, not a member
 */
const PLAN = `
site: Quillfen Ferry Terminal
nodes:
  core: { kind: switch, querier: true }
  hub: { kind: unmanaged }
  studio: { kind: host, agent: none }
  kiosk: { kind: host }
  desk: { kind: host }
  tower: { kind: host }
links:
  - core:1 -- studio:eth0
  - core:2 -- hub:1
  - core:3 -- tower:eth0
  - hub:2 -- kiosk:eth0
  - hub:3 -- desk:eth0
`;
const SENDERS = [
  { group: "239.196.4.7", port: 5004, kind: "rtp", bytes: 972, perSecond: 50, ttl: 16, dscp: 34 },
  { group: "239.196.4.8", port: 1234, kind: "ts", bytes: 1316, perSecond: 40, ttl: 8, dscp: 0 },
  { group: "239.68.4.7", port: 5006, kind: "rtp-ts", bytes: 1328, perSecond: 25, ttl: 4, dscp: 26 },
  { group: "239.196.4.10", port: 6000, kind: "other", bytes: 200, perSecond: 20, ttl: 1, dscp: 46 },
  { group: "ff15::8062:4", port: 5004, kind: "rtp", bytes: 500, perSecond: 30, ttl: 5, dscp: 34 },
  { group: "224.0.0.251", port: 5353, kind: "other", bytes: 90, perSecond: 4, ttl: 255, dscp: 0 },
] as const;
const FORMATS = { rtp: "RTP", ts: "MPEG-TS", "rtp-ts": "MPEG-TS in RTP", other: "neither RTP nor MPEG-TS" } as const;
const SILENT = "239.196.4.99";
const LOOK_MS = 4000;

let bench: PracticeBench;
let inventory: Inventory;
let later: Inventory;
let studioMac = "";
const sentBefore = new Map<string, string>();
const sentAfter = new Map<string, string>();
const joinedBefore = new Map<string, string>();
const joinedAfter = new Map<string, string>();
const AGENTS = ["kiosk", "desk", "tower"] as const;

const program = async (node: string, what: string, value: object): Promise<PracticeProcess> => {
  const { interfaceName, ipv4 } = bench.site.addressOf(node);
  const script = fileURLToPath(new URL("six-senders.py", import.meta.url));
  let isReady = (): void => {};
  const ready = new Promise<void>((resolve) => {
    isReady = resolve;
  });
  const argv = ["/usr/bin/python3", script, what, interfaceName, ipv4, JSON.stringify(value)];
  const started = await bench.site.spawn(node, argv, {
    onLine: (line, stream) => (stream === "stderr" ? process.stderr.write(`${node}: ${line}\n`) : isReady()),
  });
  await Promise.race([ready, started.exit]);
  return started;
};

const shell = async (node: string, command: string): Promise<string> =>
  (await bench.site.exec(node, ["sh", "-c", command])).stdout.trim();

async function take(forMs: number): Promise<Inventory> {
  const { id } = await bench.client.ask("takeInventory", { body: { forMs } });
  for (;;) {
    const found = (await bench.client.ask("listInventories")).find((one) => one.id === id);
    if (found?.state === "done") return bench.client.ask("readInventory", { path: { id } });
    if (found?.state === "failed") throw new Error("The inventory came to nothing");
    await sleep(100);
  }
}

/** The kernel's own counter of UDP that leaves by the tested interface, whoever sends it; and what is joined there. */
async function note(sent: Map<string, string>, joined: Map<string, string>): Promise<void> {
  for (const node of AGENTS) {
    sent.set(node, /counter packets ([0-9]+)/.exec(await shell(node, "nft list table inet sent"))?.[0] ?? "none");
    joined.set(node, await shell(node, `ip maddr show dev ${bench.site.addressOf(node).interfaceName}`));
  }
}

beforeAll(async () => {
  bench = await raiseBench(PLAN);
  studioMac = await shell("studio", `cat /sys/class/net/${bench.site.addressOf("studio").interfaceName}/address`);
  for (const node of AGENTS) {
    const { interfaceName } = bench.site.addressOf(node);
    const rule = `oifname "${interfaceName}" meta l4proto udp counter`;
    const table = `table inet sent {\n chain c {\n type filter hook output priority 0; policy accept;\n ${rule}\n }\n}\n`;
    const { code, stderr } = await bench.site.exec(node, ["nft", "-f", "-"], { stdin: table });
    if (code !== 0) throw new Error(stderr);
  }
  const members = await program("kiosk", "join", [...SENDERS.map(({ group }) => group), SILENT]);
  const senders = await program("studio", "send", SENDERS);
  await sleep(1500); // until reports have reached every switch
  await note(sentBefore, joinedBefore);
  inventory = await take(LOOK_MS);
  await note(sentAfter, joinedAfter);
  senders.signal("SIGTERM");
  await senders.exit;
  later = await take(1500);
  members.signal("SIGTERM");
  await members.exit;
});
afterAll(() => bench?.[Symbol.asyncDispose]());

const rowOf = (of: Inventory, group: string, port: number | null): InventoryGroup | undefined =>
  of.groups.find((one) => one.group === group && one.port === port);

test.each(SENDERS)(
  "inventory: given a sender of $kind to $group, then address, card, port, TTL, DSCP, size, rate and format are those that were put there",
  ({ group, port, kind, bytes, perSecond, ttl, dscp }) => {
    const row = rowOf(inventory, group, port);
    expect(row?.senders?.map(({ hardware }) => hardware)).toEqual([studioMac]);
    const [sender] = row?.senders ?? [];
    const { ipv4 } = bench.site.addressOf("studio");
    if (group.includes(":")) expect(sender?.address).toMatch(/^(fe80|fd)/);
    else expect(sender?.address).toBe(ipv4);
    expect(sender).toMatchObject({
      ttl,
      dscp,
      leastBytes: bytes,
      mostBytes: bytes,
      carries: FORMATS[kind],
      agent: null,
    });
    // By the sender's own schedule; a machine that is busy sends in bursts, so the ends of the look may cut one off.
    expect(sender?.packetsPerSecond).toBeGreaterThan(perSecond * 0.8);
    expect(sender?.packetsPerSecond).toBeLessThan(perSecond * 1.25);
    expect(sender?.rateBps).toBeCloseTo((sender?.packetsPerSecond ?? 0) * bytes * 8, 0);
    expect(row?.members).toEqual(["kiosk"]);
    expect(row?.kind).toBe(group === "224.0.0.251" ? "control" : "data");
  },
);

test("inventory: given all of them, then no other data is told, and a hub's other host gets it unasked, and nobody behind the switch", () => {
  const data = inventory.groups.filter((one) => one.kind === "data");
  const put = SENDERS.filter(({ group }) => group !== "224.0.0.251");
  expect(data.map(({ group, port }) => `${group} ${port}`).sort()).toEqual(
    [...put.map(({ group, port }) => `${group} ${port}`), `${SILENT} null`].sort(),
  );
  for (const { group, port } of put) {
    const row = rowOf(inventory, group, port);
    expect([row?.seenBy, row?.unaskedAt]).toEqual([["desk", "kiosk"], ["desk"]]);
  }
  expect(inventory.agents.map(({ agent, why }) => [agent, why])).toEqual([
    ["desk", null],
    ["kiosk", null],
    ["tower", null],
  ]);
});

test("inventory: given groups that share an Ethernet address, a group without a source and a querier, then each is said", () => {
  expect(rowOf(inventory, "239.196.4.7", 5004)?.sharesLinkAddressWith).toEqual(["239.68.4.7"]); // RFC 1112 section 6.4
  expect(rowOf(inventory, "239.196.4.8", 1234)?.sharesLinkAddressWith).toEqual([]);
  const silent = rowOf(inventory, SILENT, null);
  expect([silent?.senders, silent?.members]).toEqual([[], ["kiosk"]]);
  expect(rowOf(inventory, "239.196.4.10", 6000)?.remarks.join()).toContain("TTL 1");
  expect(rowOf(inventory, "224.0.0.251", 5353)?.use).toContain("multicast DNS");
  expect(inventory.queriers.map(({ protocol }) => protocol)).toContain("igmp");
  for (const free of inventory.freeGroups) expect(inventory.groups.map(({ group }) => group)).not.toContain(free);
});

test("inventory: given a look, then the agents' interfaces sent no UDP and joined nothing, as the kernel counts it", () => {
  expect([...sentAfter]).toEqual([...sentBefore]);
  expect([...sentAfter.values()]).toEqual(AGENTS.map(() => "counter packets 0"));
  expect([...joinedAfter]).toEqual([...joinedBefore]);
});

test("comparing: given that the senders ended, then a second inventory says so, and who was a member still is", async () => {
  const changes = await bench.client.ask("compareInventories", {
    path: { id: later.id },
    query: { since: inventory.id },
  });
  const gone = changes.gone.map(({ group, port }) => `${group} ${port}`);
  for (const { group, port } of SENDERS) expect(gone).toContain(`${group} ${port}`);
  expect(rowOf(later, "239.196.4.8", null)?.senders).toEqual([]);
  expect(changes.doubts.join()).toContain("seldom");
});

/** What scapy reads of one packet. */
interface TheirPacket {
  readonly interface: string;
  readonly timeNs: string;
  readonly wire: number;
  readonly kept: number;
  readonly protocol: number | null;
  readonly group: string | null;
  readonly port: number | null;
  /** Hexadecimal. */
  readonly payload: string;
}

const GROUP = "239.195.62.9";
const SCENARIO = `
scenario: kept
streams:
  - { name: board, source: tower, group: ${GROUP}, rate: 400 kbit/s, payload: 500 B }
timeline:
  - { at: 0s, join: board, agents: [kiosk] }
  - { at: 1s, emit: board }
  - { at: 4s, stop: board }
`;

test("evidence: given a run that kept headers and has a finding, then its archive has a capture that scapy reads, with the packets and times of the report, and the trail who took it", async () => {
  const report = await bench.run(SCENARIO, {
    faults: ['drop, on: "hub:2>kiosk:eth0", share: 30 %'],
    keepsHeaders: true,
  });
  expect(report.findings.length).toBeGreaterThan(0);
  const { url } = bench.practice.controller;
  const zip = await (await fetch(`${url}/api/console/runs/${report.run}/files/evidence.zip`)).arrayBuffer();
  const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-kept-"));
  try {
    writeFileSync(path.join(folder, "x.zip"), new Uint8Array(zip));
    execFileSync("python3", ["-m", "zipfile", "-e", path.join(folder, "x.zip"), folder]);
    const inside = path.join(folder, `dyetrace-${report.run}`);
    execFileSync("sha256sum", ["--strict", "-c", "SHA256SUMS"], { cwd: inside, stdio: "ignore" });
    const script = fileURLToPath(new URL("capture-reader.py", import.meta.url));
    const said = execFileSync("/usr/bin/python3", [script, path.join(inside, "capture.pcapng")], {
      encoding: "utf8",
      maxBuffer: 64 * 1024 * 1024,
      stdio: ["ignore", "pipe", "ignore"],
    });
    const packets = said
      .trim()
      .split("\n")
      .map((line) => JSON.parse(line) as TheirPacket);
    const at = (node: string): TheirPacket[] =>
      packets.filter((one) => one.interface.startsWith(`${node}:`) && one.group === GROUP && one.port === 48_620);
    const [stream] = report.streams;
    const [receipt] = report.receipts;
    // Counted by the sender, and by the listener's socket.
    expect(at("tower")).toHaveLength(stream?.sent ?? -1);
    expect(at("kiosk")).toHaveLength(receipt?.received ?? -1);
    expect(new Set(at("tower").map(({ wire }) => wire))).toEqual(new Set([14 + 20 + 8 + 500]));
    // Of the payload there is the test packet's own header, 52 octets, and nothing else.
    expect(new Set(packets.map(({ payload }) => payload.length / 2))).toEqual(new Set([0, 52]));
    const numbers = at("tower").map(({ payload }) => Number(BigInt(`0x${payload.slice(48, 64)}`)));
    expect(numbers).toEqual(numbers.map((_, i) => i));
    for (const { timeNs, payload } of at("tower")) {
      // The sender's own stamp of its clock, at octet 32; kernel and sender are on one machine here.
      const sentNs = BigInt(`0x${payload.slice(64, 80)}`);
      expect(Math.abs(Number(BigInt(timeNs) - sentNs)) / 1e6).toBeLessThan(250);
    }
    // The listener's report of its group came whole: IGMP is protocol 2.
    const asks = packets.filter((one) => one.interface.startsWith("kiosk:") && one.protocol === 2);
    expect(asks.length).toBeGreaterThan(0);
    for (const { wire, kept } of asks) expect(kept).toBe(wire);
  } finally {
    rmSync(folder, { recursive: true });
  }
  const trail = (await (await fetch(`${url}/api/audit`)).json()) as { readonly what: string }[];
  expect(trail.map(({ what }) => what)).toContain(`took the headers that were kept of run ${report.run}`);
});

test("evidence: given a run that was not asked to, then no headers are kept of it", async () => {
  const report = await bench.run(SCENARIO.replace("4s", "2s"), {
    faults: ['drop, on: "hub:2>kiosk:eth0", share: 60 %'],
  });
  expect(await bench.client.ask("readHeaders", { path: { id: report.run } })).toBeNull();
});
