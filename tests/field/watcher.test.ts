import { mergeSequenceRanges, ownMembershipNs, viewMembership } from "@dyetrace/measure";
import {
  type GroupRecordType,
  layTestPacket,
  type MembershipEvent,
  type MembershipMessage,
  stampTestPacket,
  type WatchedStream,
  type WatcherReport,
  WatcherReportSchema,
} from "@dyetrace/wire";
import Value from "typebox/value";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { hex, ipv4Frame } from "../conformance/membership-frames.ts";
import { type TestHost, until, WatcherNetwork } from "./watcher-network.ts";

const RUN_ID = "00000000d1e7ace0";
const PORT = 48_620;
const GROUP = "233.252.0.1";

/** Hundredths of a second. */
const QUICK_TIMERS = [
  ...["mcast_query_interval", "100", "mcast_query_response_interval", "40", "mcast_startup_query_interval", "50"],
  ...["mcast_membership_interval", "600", "mcast_last_member_interval", "50"],
  ...["mcast_igmp_version", "3", "mcast_mld_version", "2"],
];

const names = (message: MembershipMessage, group: string): boolean =>
  (message.kind === "report" && message.records.some((record) => record.group === group)) ||
  ((message.kind === "leave" || message.kind === "query") && message.group === group);

const hasRecord = (message: MembershipMessage, type: GroupRecordType, group: string): boolean =>
  message.kind === "report" && message.records.some((record) => record.type === type && record.group === group);

const records = (message: MembershipMessage, group: string): readonly unknown[] =>
  message.kind === "report" ? message.records.filter((record) => record.group === group) : [];

const stream = (report: WatcherReport | null, streamId = 1): WatchedStream => {
  const found = report?.streams.find((one) => one.streamId === streamId);
  if (found === undefined) throw new Error(`No stream ${streamId} in ${JSON.stringify(report)}`);
  return found;
};

async function openWatch(host: TestHost, groups: readonly string[] = [GROUP]): Promise<void> {
  expect(await host.ask("open")).toEqual({ inability: null, hint: null });
  await watch(host, groups);
}

const watch = (host: TestHost, groups: readonly string[] = [GROUP]): Promise<unknown> =>
  host.ask("watch", { runId: RUN_ID, streams: groups.map((group, i) => ({ streamId: i + 1, group, port: PORT })) });

/** Snapshots until `frames` of stream 1 have been seen, added up. */
async function seen(host: TestHost, frames: number): Promise<readonly WatchedStream[]> {
  const parts: WatchedStream[] = [];
  return until(`${frames} frames`, async () => {
    parts.push(stream(await host.snapshot()));
    return parts.reduce((sum, part) => sum + part.frames, 0) >= frames ? parts : null;
  });
}

const send = (host: TestHost, details: Record<string, unknown>): Promise<unknown> =>
  host.ask("send", { group: GROUP, port: PORT, runId: RUN_ID, streamId: 1, ...details });

describe("watcher behind a switch that snoops and queries", () => {
  let network: WatcherNetwork;
  let source: TestHost;
  let member: TestHost;
  let bystander: TestHost;

  beforeAll(async () => {
    network = new WatcherNetwork(QUICK_TIMERS);
    network.inSwitch("ip", "addr", "add", "192.0.2.254/24", "dev", "br0");
    network.configure("mcast_query_use_ifaddr", "1");
    source = network.addHost("source");
    member = network.addHost("member");
    bystander = network.addHost("bystander");
    await openWatch(member);
    await openWatch(bystander);
    network.configure("mcast_querier", "1");
    // the switch floods for one response interval after its first queries, of either family
    await member.hear("a query of each family", [], ({ message }) => message.kind === "query" && message.family === 6);
    await new Promise((resolve) => setTimeout(resolve, 1000));
  });
  afterAll(() => network.close());

  test("given queries, then the view names the switch as querier with its version and interval", async () => {
    const heard: MembershipEvent[] = [];
    await watch(member); // a run begins: what was heard in the minutes before comes with the first report
    await until("four general queries of each family", async () => {
      heard.push(...((await member.snapshot())?.membership ?? []));
      const view = viewMembership(heard, { fromMs: -60_000, untilMs: 60_000 });
      return [4, 6].every((family) => view.queriers.some((one) => one.family === family && one.queries >= 4))
        ? view
        : null;
    });
    const lastMs = (heard.at(-1)?.atNs ?? 0) / 1e6;
    const view = viewMembership(heard, { fromMs: -60_000, untilMs: lastMs });
    // what the bridge was told: 1 s between queries, 0.4 s to answer; it says QRV 2
    const told = {
      version: 3,
      robustness: 2,
      intervalAdvertisedMs: 1000,
      maxResponseMs: 400,
      isProxy: false,
      isOwn: false,
    };
    expect(view.queriers.find((one) => one.family === 4)).toMatchObject({ ...told, address: "192.0.2.254" });
    expect(view.queriers.find((one) => one.family === 6)).toMatchObject({ ...told, version: 2, acceptance: "heeded" });
    expect(view.ipv4.electedQuerier).toBe("192.0.2.254");
    const linkLocal = JSON.parse(network.inSwitch("ip", "-j", "-6", "addr", "show", "dev", "br0", "scope", "link")) as {
      addr_info: { local: string }[];
    }[];
    expect(view.ipv6.electedQuerier).toBe(linkLocal[0]?.addr_info[0]?.local);
    expect(view.ipv4.queriesStoppedMs).toBeNull();
    expect(view.badChecksums + view.malformed).toBe(0); // the kernel's checksums are good by our sum
    expect(view.queriers.find((one) => one.family === 4)?.intervalSeenMs).toBeGreaterThan(400);
    expect(view.queriers.find((one) => one.family === 4)?.intervalSeenMs).toBeLessThan(1500);
  });

  test("given an IGMPv3 join and leave, then both are read as the switch reads them, and its queries in between", async () => {
    const group = "239.195.1.2";
    const heard: MembershipEvent[] = [];
    await member.ask("join", { group });
    // A query of that moment is answered for the new group as well, before or after: that record says IS_EX.
    const join = await member.hear("the join", heard, ({ message }) => hasRecord(message, "TO_EX", group));
    expect(join).toMatchObject({ direction: "out" });
    expect(join.message).toMatchObject({
      version: 3,
      source: member.address,
      destination: "224.0.0.22",
      checksum: "good",
    });
    expect(records(join.message, group)).toEqual([{ type: "TO_EX", group, sources: [] }]);
    const entry = await until("the switch's entry", () => network.groupTable(group)[0] ?? null);
    expect(entry).toMatchObject({ port: "member", filter_mode: "exclude" });
    expect(member.exec("cat", "/proc/net/igmp")).toContain("0201C3EF"); // 239.195.1.2 on a little-endian host

    heard.length = 0;
    await member.ask("leave", { group });
    const leave = await member.hear("the leave", heard, ({ message }) => hasRecord(message, "TO_IN", group));
    expect(records(leave.message, group)).toEqual([{ type: "TO_IN", group, sources: [] }]);
    expect(leave.direction).toBe("out");
    const query = await member.hear(
      "the query",
      heard,
      ({ message }) => message.kind === "query" && names(message, group),
    );
    expect(query).toMatchObject({
      direction: "in",
      message: { version: 3, maxResponseMs: 500, source: "192.0.2.254" },
    });
    await until("no entry", () => (network.groupTable(group).length === 0 ? true : null));
  });

  test("given a source-specific join and leave, then ALLOW and BLOCK name the source", async () => {
    const group = "232.195.1.2";
    const heard: MembershipEvent[] = [];
    await member.ask("join", { group, source: source.address });
    const join = await member.hear("the join", heard, ({ message }) => hasRecord(message, "ALLOW", group));
    expect(records(join.message, group)).toEqual([{ type: "ALLOW", group, sources: [source.address] }]);
    const entry = await until(
      "the switch's entry",
      () => network.groupTable(group).find((one) => one["src"] === undefined) ?? null,
    );
    expect(entry).toMatchObject({ port: "member", filter_mode: "include", source_list: [{ address: source.address }] });
    heard.length = 0;
    await member.ask("leave", { group });
    const leave = await member.hear("the leave", heard, ({ message }) => hasRecord(message, "BLOCK", group));
    expect(records(leave.message, group)).toEqual([{ type: "BLOCK", group, sources: [source.address] }]);
    const query = await member.hear(
      "the query",
      heard,
      ({ message }) => message.kind === "query" && names(message, group),
    );
    expect(query.message).toMatchObject({ version: 3, sources: [source.address] });
  });

  test("given MLDv2 and MLDv1 joins and leaves, then both are read as the switch reads them", async () => {
    const group = "ff15::8000:1234";
    const heard: MembershipEvent[] = [];
    await member.ask("join", { group });
    const join = await member.hear("the join", heard, ({ message }) => hasRecord(message, "TO_EX", group));
    expect(join).toMatchObject({
      direction: "out",
      message: { version: 2, checksum: "good", hasRouterAlert: true, destination: "ff02::16" },
    });
    expect(records(join.message, group)).toEqual([{ type: "TO_EX", group, sources: [] }]);
    await until("the switch's entry", () => network.groupTable(group)[0] ?? null);
    heard.length = 0;
    await member.ask("leave", { group });
    const leave = await member.hear("the leave", heard, ({ message }) => hasRecord(message, "TO_IN", group));
    expect(records(leave.message, group)).toEqual([{ type: "TO_IN", group, sources: [] }]);
    await member.hear("the query", heard, ({ message }) => message.kind === "query" && names(message, group));

    member.exec("sysctl", "-qw", "net.ipv6.conf.eth0.force_mld_version=1");
    heard.length = 0;
    await member.ask("join", { group });
    const older = await member.hear(
      "the MLDv1 report",
      heard,
      ({ message }) => message.kind === "report" && message.version === 1 && names(message, group),
    );
    expect(older.message).toMatchObject({ destination: group, checksum: "good" });
    await until("the switch's entry", () => network.groupTable(group)[0] ?? null);
    await member.ask("leave", { group });
    const done = await member.hear("the done", heard, ({ message }) => message.kind === "leave");
    expect(done.message).toMatchObject({ version: 1, group, destination: "ff02::2", checksum: "good" });
    member.exec("sysctl", "-qw", "net.ipv6.conf.eth0.force_mld_version=0");
  });

  test("given an IGMPv2 host, then its report and leave are read, and the group query that answers", async () => {
    const group = "239.195.1.3";
    member.exec("sysctl", "-qw", "net.ipv4.conf.eth0.force_igmp_version=2");
    const heard: MembershipEvent[] = [];
    await member.ask("join", { group });
    const join = await member.hear(
      "the report",
      heard,
      ({ message }) => message.kind === "report" && names(message, group),
    );
    expect(join.message).toMatchObject({ version: 2, destination: group, hasRouterAlert: true, checksum: "good" });
    await until("the switch's entry", () => network.groupTable(group)[0] ?? null);
    await member.ask("leave", { group });
    const leave = await member.hear("the leave", heard, ({ message }) => message.kind === "leave");
    expect(leave).toMatchObject({
      direction: "out",
      message: { version: 2, group, destination: "224.0.0.2", checksum: "good" },
    });
    await until("no entry", () => (network.groupTable(group).length === 0 ? true : null));
    member.exec("sysctl", "-qw", "net.ipv4.conf.eth0.force_igmp_version=0");
  });

  test("given a member and a bystander, then the switch's containment is seen, and the leave's delay", async () => {
    await watch(bystander);
    await watch(member);
    await member.ask("join", { group: GROUP });
    await until("the switch's entry", () => network.groupTable(GROUP)[0] ?? null);
    await send(source, { first: 0, last: 99 });
    const parts = await seen(member, 100);
    expect(parts.flatMap((part) => part.ranges).reduce((sum, [first, last]) => sum + last - first + 1, 0)).toBe(100);
    expect(parts.every((part) => part.asUnicastFrames === 0 && part.unlistedFrames === 0)).toBe(true);
    const quiet = await bystander.snapshot();
    expect(stream(quiet)).toMatchObject({ frames: 0, firstNs: null, lastNs: null, ranges: [] });
    expect(quiet?.dropped).toBe(0);

    const sending = send(source, { first: 100, last: 700 }); // 3 s and more
    await member.snapshot();
    await member.ask("leave", { group: GROUP });
    await sending;
    const after = await member.snapshot();
    const leftNs = ownMembershipNs(after?.membership ?? [], {
      group: GROUP,
      source: null,
      effect: "leave",
      fromNs: 0,
      untilNs: Number.POSITIVE_INFINITY,
    });
    const lastNs = stream(after).lastNs;
    if (leftNs === null || lastNs === null) throw new Error(`Nothing left or came: ${JSON.stringify(after)}`);
    // the bridge forwards for last-member interval times count, here 0.5 s times 2 (RFC 3376 8.8 to 8.10)
    expect((lastNs - leftNs) / 1e9).toBeGreaterThan(0.5);
    expect((lastNs - leftNs) / 1e9).toBeLessThan(1.6);
  });

  test("given a port that converts to unicast, then every frame there came as unicast", async () => {
    network.inSwitch("bridge", "link", "set", "dev", "member", "mcast_to_unicast", "on");
    await watch(member);
    await member.ask("join", { group: GROUP });
    await until("the switch's entry", () => network.groupTable(GROUP)[0] ?? null);
    await send(source, { first: 0, last: 49 });
    const parts = await seen(member, 50);
    expect(parts.reduce((sum, part) => sum + part.asUnicastFrames, 0)).toBe(50);
    await member.ask("leave", { group: GROUP });
    network.inSwitch("bridge", "link", "set", "dev", "member", "mcast_to_unicast", "off");
  });

  test("given snooping off, then the bystander sees every frame, and no report of its own ever went out", async () => {
    const allmulti = (): unknown => {
      const links = JSON.parse(bystander.exec("ip", "-d", "-j", "link", "show", "eth0")) as { allmulti: number }[];
      return links[0]?.allmulti;
    };
    await watch(bystander);
    network.configure("mcast_snooping", "0");
    await send(source, { first: 0, last: 49 });
    const parts = await seen(bystander, 50);
    network.configure("mcast_snooping", "1");
    expect(parts.flatMap((part) => part.ranges).flat()).toContain(49);
    expect(bystander.exec("cat", "/proc/net/igmp")).not.toContain("0100FCE9"); // 233.252.0.1
    // by the switch's own count since the beginning, watch and all: not one IGMP report from that port
    const counters = network.portCounters("bystander");
    expect(counters.igmp_reports).toMatchObject({ rx_v1: 0, rx_v2: 0, rx_v3: 0 });
    expect(counters.igmp_queries.tx_v3).toBeGreaterThan(0); // it does count
    expect(allmulti()).toBe(1);
    await bystander.ask("close");
    expect(allmulti()).toBe(0); // the card is as it was
  });
});

describe("watcher on a quiet network", () => {
  let network: WatcherNetwork;
  let source: TestHost;
  let watcher: TestHost;

  beforeAll(async () => {
    network = new WatcherNetwork(["mcast_igmp_version", "3"]);
    source = network.addHost("source");
    watcher = network.addHost("watcher");
    await openWatch(watcher);
  });
  afterAll(() => network.close());

  test("given joins, leaves and queries, then each is seen once: as many as the switch counts", async () => {
    const heard: MembershipEvent[] = [];
    const isIgmp = ({ message }: MembershipEvent): boolean => message.family === 4;
    const before = network.portCounters("watcher");
    expect(before.igmp_reports.rx_v3).toBe(0);
    for (const group of ["239.195.2.1", "239.195.2.2"]) {
      await watcher.ask("join", { group });
      await watcher.hear(
        "the join's repeat",
        heard,
        () => heard.filter(({ message }) => records(message, group).length > 0).length >= 2,
      );
    }
    network.configure("mcast_querier", "1");
    await watcher.hear("a query", heard, (event) => isIgmp(event) && event.message.kind === "query");
    await until(
      "the switch's counts",
      async () => {
        heard.push(...((await watcher.snapshot())?.membership ?? []));
        const counted = network.portCounters("watcher");
        const reports = heard.filter(
          (event) => isIgmp(event) && event.direction === "out" && event.message.kind === "report",
        ).length;
        const queries = heard.filter(
          (event) => isIgmp(event) && event.direction === "in" && event.message.kind === "query",
        ).length;
        return reports === counted.igmp_reports.rx_v3 && queries === counted.igmp_queries.tx_v3 && reports >= 5
          ? true
          : null;
      },
      20_000,
    );
    network.configure("mcast_querier", "0");
    for (const group of ["239.195.2.1", "239.195.2.2"]) await watcher.ask("leave", { group });
  });

  test("given messages while the watch goes from the main thread to its own and back, then each is told once: as many as the switch counts", async () => {
    const host = network.addHost("rester");
    await host.ask("open", { restAfterMs: 100 });
    expect(await host.ask("state")).toEqual({ inability: null, isResting: true });
    for (const round of [1, 2, 3]) {
      const group = `239.195.3.${round}`;
      await host.ask("join", { group }); // two reports within a second (RFC 3376, 8.1 and 8.11), while it wakes and rests
      await watch(host);
      expect(await host.ask("state")).toMatchObject({ isResting: false });
      await until("a rest", async () => ((await host.ask("state"))["isResting"] === true ? true : null));
      await host.ask("leave", { group });
    }
    const counted = (): number => network.portCounters("rester").igmp_reports.rx_v3;
    // What is repeated comes within a second (RFC 3376, 8.11): two seconds without one, and none is to come. One report may tell of a
    // leave and of the join right after it (5.1), so three joins and leaves are four reports at least.
    let [sent, atMs] = [0, Date.now()];
    await until("the last report", async () => {
      if (counted() !== sent) [sent, atMs] = [counted(), Date.now()];
      return sent >= 4 && Date.now() - atMs > 2000 ? true : null;
    });
    await watch(host);
    const { membership = [] } = (await host.snapshot()) ?? {};
    const own = membership.filter(({ direction, message }) => direction === "out" && message.family === 4);
    expect(own.filter(({ message }) => message.kind === "report")).toHaveLength(sent);
    expect(counted()).toBe(sent);
  });

  test("given holes in the numbers, then the ranges show them", async () => {
    await watch(watcher);
    await send(source, { first: 0, last: 9, perTick: 5 });
    await send(source, { first: 20, last: 29, perTick: 5 });
    await send(source, { first: 5, last: 6, perTick: 5 });
    const report = await until("22 frames", async () => {
      const part = await watcher.snapshot();
      return stream(part).frames === 0 ? null : part;
    });
    const rest = stream(await watcher.snapshot());
    expect(stream(report).frames + rest.frames).toBe(22);
    expect(stream(report).ranges).toEqual([
      [0, 9],
      [20, 29],
    ]);
    expect(Value.Check(WatcherReportSchema, report)).toBe(true);
  });

  test("given another run, other traffic and another group, then none of it counts as frames", async () => {
    await watch(watcher);
    await send(source, { first: 0, last: 4, runId: "00000000d1e7acef" });
    await source.ask("sendForeign", { group: GROUP, port: PORT, count: 3 });
    await source.ask("sendForeign", { group: "233.252.0.2", port: PORT, count: 3 });
    await source.ask("sendForeign", { group: GROUP, port: PORT + 1, count: 3 });
    await send(source, { first: 0, last: 0 });
    const parts = await seen(watcher, 1);
    expect(parts.reduce((sum, part) => sum + part.foreignFrames, 0)).toBe(5 + 3);
    expect(parts.reduce((sum, part) => sum + part.frames, 0)).toBe(1);
  });

  test("given IPv6 and packets in fragments, then each packet counts once", async () => {
    const ipv6 = "ff15::8000:1";
    const ranges = (parts: readonly WatchedStream[]): unknown =>
      mergeSequenceRanges(parts.flatMap((part) => part.ranges));
    await watch(watcher, [ipv6]);
    await send(source, { group: ipv6, first: 0, last: 9 });
    await send(source, { group: ipv6, first: 10, last: 19, payloadBytes: 3000 });
    const parts = await seen(watcher, 20);
    expect(ranges(parts)).toEqual([[0, 19]]);
    await watch(watcher);
    await send(source, { first: 0, last: 9, payloadBytes: 3000 });
    const parts4 = await seen(watcher, 10);
    expect(ranges(parts4)).toEqual([[0, 9]]);
    // the later fragments of the last packet have passed before this one
    await send(source, { first: 10, last: 10 });
    expect((await seen(watcher, 1)).reduce((sum, part) => sum + part.frames, 0)).toBe(1);
    expect([...parts, ...parts4].reduce((sum, part) => sum + part.frames, 0)).toBe(20 + 10);
  });

  test("given a burst of 20 000 packets, then all are seen or said to be dropped", async () => {
    await watch(watcher);
    await send(source, { first: 0, last: 19_999, perTick: 500 });
    let frames = 0;
    let dropped = 0;
    await until("all of them", async () => {
      const report = await watcher.snapshot();
      frames += stream(report).frames;
      dropped += report?.dropped ?? 0;
      return frames + dropped >= 20_000 ? true : null;
    });
    expect({ frames, dropped }).toEqual({ frames: 20_000, dropped: 0 });
  });

  test("given a link that goes down and comes back, then the watch says that it was interrupted and goes on", async () => {
    await watch(watcher);
    const first = await watcher.snapshot();
    expect(first?.sinceNs).toBeLessThan(0);
    watcher.exec("ip", "link", "set", "eth0", "down");
    await until("an interruption", async () => ((await watcher.snapshot())?.sinceNs === null ? true : null));
    watcher.exec("ip", "link", "set", "eth0", "up");
    const again = await until("the watch again", async () => {
      const report = await watcher.snapshot();
      return report?.sinceNs === null ? null : report;
    });
    expect(again?.sinceNs).toBeGreaterThan(0);
    await until("a port that forwards", async () => {
      await send(source, { first: 0, last: 0 });
      return stream(await watcher.snapshot()).frames > 0 ? true : null;
    });
  });

  test("given a process without CAP_NET_RAW, then the watcher is unable, says how to mend it, and knows nothing", async () => {
    const plain = network.addHost("plain", ["setpriv", "--bounding-set=-net_raw", "--inh-caps=-net_raw"]);
    const opened = await plain.ask("open");
    expect(opened["inability"]).toBe("NEEDS_PRIVILEGE");
    expect(opened["hint"]).toContain("CAP_NET_RAW");
    await watch(plain);
    expect(await plain.snapshot()).toBeNull();
  });

  test("given frames with a VLAN tag, then they belong to another network than this interface's", async () => {
    const payload = new Uint8Array(96);
    const view = new DataView(payload.buffer);
    const identity = { runId: RUN_ID, streamId: 1, senderId: 7, intervalNs: 1, ttl: 1, dscp: 0, contact: "" };
    layTestPacket(view, 0, 96, { ...identity, isCompanion: false });
    stampTestPacket(view, payload, 0, 0, 0, 0);
    const udp = [...hex("bdec bdec 0068 0000"), ...payload]; // from and to port 48620, 8 + 96 bytes, no checksum
    const test = ipv4Frame(udp, { protocol: 17, destination: GROUP, hasRouterAlert: false, tag: 0x000a });
    const query = ipv4Frame(hex("11 64 ec 1e 00 00 00 00 02 7d 00 00"), { tag: 0x000a });
    await watch(watcher);
    const frames = [test, query].map((frame) => Buffer.from(frame).toString("hex"));
    await source.ask("sendFrames", { frames });
    const heard: MembershipEvent[] = [];
    let tagged = 0;
    await until("both", async () => {
      const report = await watcher.snapshot();
      tagged += stream(report).taggedFrames;
      expect(stream(report).frames).toBe(0);
      heard.push(...(report?.membership.filter(({ message }) => message.vlanId !== null) ?? []));
      return tagged === 1 && heard.length === 1 ? true : null;
    });
    expect(heard[0]).toMatchObject({ message: { kind: "query", vlanId: 10, version: 3 } });
    expect(viewMembership(heard, { fromMs: 0, untilMs: 1 }).ipv4.electedQuerier).toBeNull();
  });

  test("given an interface that is taken away, then the watcher says so and knows nothing more", async () => {
    const brief = network.addHost("brief");
    await openWatch(brief);
    expect((await brief.snapshot())?.dropped).toBe(0);
    brief.exec("ip", "link", "del", "eth0");
    await until("no report", async () => ((await brief.snapshot()) === null ? true : null));
    expect((await brief.ask("state"))["inability"]).toBe("INTERFACE_UNKNOWN");
  });
});
