import type { PracticeProcess } from "@dyetrace/practice";
import type { RunReport } from "@dyetrace/wire";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";

/** The coder is a host like any other, with a program on it that is none of ours. */
const PLAN = `
site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  left: { kind: switch }
  encoder: { kind: host, agent: none }
  wall-1: { kind: host }
  wall-2: { kind: host }
  lobby: { kind: host }
links:
  - core:1 -- left:24
  - core:2 -- encoder:eth0
  - core:3 -- lobby:eth0
  - left:1 -- wall-1:eth0
  - left:2 -- wall-2:eth0
`;
const PORT = 5004;
const JOINED_BY_ALL = "{ at: 0s, join: tv, agents: all }";
/** @param entry of the timeline: who joins, or only watches */
const follow = (group: string, entry: string): string => `
scenario: follow
streams:
  - { name: tv, production: true, from: encoder, group: "${group}", port: ${PORT} }
timeline:
  - ${entry}
  - { at: 5s, leave: tv, agents: all }
`;
/** Some program of the host's own that joins a group: node -e PROGRAM GROUP. It reads nothing. */
const MEMBER = `
  const { networkInterfaces } = require("node:os");
  const own = networkInterfaces().eth0.find(({ family }) => family === "IPv4").address;
  const socket = require("node:dgram").createSocket({ type: "udp4", reuseAddr: true });
  socket.bind(9, () => { socket.addMembership(process.argv[1], own); console.log("joined"); });
`;

const PICTURE = ["-re", "-f", "lavfi", "-i", "testsrc2=size=640x360:rate=25"];
const SOUND = ["-re", "-f", "lavfi", "-i", "sine=frequency=440:sample_rate=48000"];
const VIDEO = ["-c:v", "mpeg2video", "-b:v", "3M"];
const AUDIO = ["-c:a", "mp2", "-b:a", "192k"];
/** What a coder of Debian's ffmpeg package sends; `?` begins its own options of an address. */
const MEDIA = {
  "MPEG-TS over UDP": (group: string) => [
    ...[...PICTURE, ...SOUND, ...VIDEO, ...AUDIO],
    ...["-f", "mpegts", `udp://${group}:${PORT}?pkt_size=1316&ttl=4`],
  ],
  "MPEG-TS in RTP": (group: string) => [
    ...[...PICTURE, ...SOUND, ...VIDEO, ...AUDIO],
    ...["-f", "rtp_mpegts", `rtp://${group}:${PORT}?pkt_size=1328&ttl=4`],
  ],
  "RTP with two SSRCs": (group: string) => [
    ...[...PICTURE, ...SOUND],
    ...["-map", "0:v", ...VIDEO, "-ssrc", "1111", "-f", "rtp", `rtp://${group}:${PORT}?pkt_size=1300&ttl=4`],
    ...["-map", "1:a", ...AUDIO, "-ssrc", "2222", "-f", "rtp", `rtp://${group}:${PORT}?pkt_size=1300&ttl=4`],
  ],
} as const;

describe("streams that flow already: given media of ffmpeg's in a node without an agent", () => {
  let bench: PracticeBench;
  const media: PracticeProcess[] = [];
  const own = new URL("group-source.mjs", import.meta.url).pathname;
  let nextGroup = 1;

  beforeAll(async () => {
    bench = await raiseBench(PLAN);
    await bench.site.exec("encoder", ["ip", "route", "add", "239.0.0.0/8", "dev", "eth0"]);
  });
  afterAll(async () => {
    for (const one of media) one.signal("SIGKILL");
    await bench[Symbol.asyncDispose]();
  });

  const play = async (kind: keyof typeof MEDIA): Promise<string> => {
    const group = `239.196.4.${nextGroup++}`;
    const quiet = ["ffmpeg", "-nostdin", "-loglevel", "error"];
    media.push(await bench.site.spawn("encoder", [...quiet, ...MEDIA[kind](group)]));
    return group;
  };
  const run = (group: string, faults: readonly string[] = [], entry = JOINED_BY_ALL): Promise<RunReport> =>
    bench.run(follow(group, entry), { faults });
  /**
   * What the kernel of a host counts of its sending: proc(5), /proc/net/snmp, snmp6 and netstat; the card's frames from
   * /sys/class/net (Documentation/ABI/testing/sysfs-class-net-statistics of the kernel).
   */
  const sentBy = async (node: string) => {
    const files = [
      "/proc/net/snmp",
      "/proc/net/snmp6",
      "/proc/net/netstat",
      "/sys/class/net/eth0/statistics/tx_packets",
    ];
    const { stdout } = await bench.site.exec(node, ["cat", ...files]);
    const lines = stdout.split("\n");
    const ipv4 = (table: string, name: string): number => {
      const [names = "", values = ""] = lines.filter((line) => line.startsWith(`${table}:`));
      return Number(values.split(" ")[names.split(" ").indexOf(name)]);
    };
    const ipv6 = (name: string): number =>
      Number(lines.find((line) => line.startsWith(`${name} `) || line.startsWith(`${name}\t`))?.split(/\s+/)[1]);
    return {
      datagrams: ipv4("Udp", "OutDatagrams") + ipv6("Udp6OutDatagrams"),
      toGroups: ipv4("IpExt", "OutMcastPkts"),
      icmp6: ipv6("Icmp6OutMsgs"),
      frames: Number(lines.at(-2)),
    };
  };

  test("given MPEG-TS, then it is told apart and read, nobody is accused, and no agent has sent a datagram", async () => {
    const group = await play("MPEG-TS over UDP");
    const agents = ["wall-1", "wall-2", "lobby"];
    const before = await Promise.all(agents.map(sentBy));
    const report = await run(group);
    const after = await Promise.all(agents.map(sentBy));
    // All that left their cards were membership reports and neighbour discovery: no datagram, and nothing of any other kind.
    for (const [i, { datagrams, toGroups, icmp6, frames }] of after.entries()) {
      const was = before[i];
      expect(datagrams - (was?.datagrams ?? 0)).toBe(0);
      expect(frames - (was?.frames ?? 0)).toBe(toGroups - (was?.toGroups ?? 0) + icmp6 - (was?.icmp6 ?? 0));
    }
    expect(report.findings).toEqual([]);
    expect(report.streams).toMatchObject([
      { production: true, format: "mpeg-ts", identifiedBy: "continuity", sent: null },
    ]);
    expect(report.receipts.map(({ lost }) => lost)).toEqual([0, 0, 0]);
    expect(report.receipts.every(({ received }) => (received ?? 0) > 300)).toBe(true);
    for (const { transportStream } of report.media ?? []) {
      expect(transportStream).toMatchObject({ programs: 1, continuityErrors: 0, syncLosses: 0, transportErrors: 0 });
      expect(transportStream?.pcrs).toBeGreaterThan(20);
    }
    const dropped = await run(group, ['drop, on: "core:1>left:24", share: 100 %']);
    expect(dropped.findings.map(({ kind }) => kind)).toEqual(["stops"]);
    expect(dropped.findings[0]?.suspects).toContain("core:1>left:24");
  });

  test("given RTP of two SSRCs that loses at one wall, then each is a stream, and that wall's link is the suspect", async () => {
    const report = await run(await play("RTP with two SSRCs"), ['drop, on: "left:1>wall-1:eth0", share: 10 %']);
    expect(report.streams.map(({ ssrc, identifiedBy }) => [ssrc, identifiedBy])).toEqual([
      [1111, "sequence"],
      [2222, "sequence"],
    ]);
    expect(report.findings.length).toBeGreaterThan(0);
    for (const { suspects } of report.findings) expect(suspects).toContain("left:1>wall-1:eth0");
    for (const { listener, lost } of report.receipts) if (listener !== "wall-1") expect(lost).toBe(0);
  });

  test("given a program on one host that joined, and two hosts where nobody has, then it is followed there, and what floods is a leak", async () => {
    const group = await play("RTP with two SSRCs");
    const member = await bench.site.spawn("lobby", [process.execPath, "-e", MEMBER, group]);
    media.push(member);
    const before = await sentBy("wall-2");
    const report = await run(
      group,
      ["snooping-off, on: left"],
      "{ at: 0s, join: tv, agents: [wall-1] }\n  - { at: 0s, watch: tv, agents: [lobby] }",
    );
    const after = await sentBy("wall-2");
    // Where nobody joins, no membership report is sent over IPv4, and of the rest only ICMPv6.
    expect(after.toGroups).toBe(before.toGroups);
    expect(after.frames - before.frames).toBe(after.icmp6 - before.icmp6);
    const main = report.receipts.filter(({ stream }) => stream === "tv");
    expect(main.map(({ listener, lost }) => [listener, lost])).toEqual([
      ["wall-1", 0],
      ["lobby", 0],
    ]);
    expect(main[1]).toMatchObject({ joinDelayMs: null, leaveDelayMs: null });
    expect(main[1]?.received).toBeGreaterThan(300);
    expect(report.bystanders.map(({ stream, agent, frames }) => [stream, agent, (frames ?? 0) > 10])).toEqual([
      ["tv", "wall-2", true],
      ["tv:ssrc-000008ae", "wall-2", true],
    ]);
    expect(new Set(report.findings.map(({ kind }) => kind))).toEqual(new Set(["leaks"]));
    for (const { suspects } of report.findings) expect(suspects.join(" ")).toContain("left");
    expect(report.notes.join(" ")).toContain("what came to lobby was followed at the network card");
  });

  test("given MPEG-TS in RTP that loses before the ways part, then its numbers show it at everyone", async () => {
    const report = await run(await play("MPEG-TS in RTP"), ['drop, on: "encoder:eth0>core:2", share: 10 %']);
    expect(report.streams).toMatchObject([{ format: "rtp-with-mpeg-ts", identifiedBy: "sequence" }]);
    expect(report.findings.map(({ suspects }) => suspects.includes("encoder:eth0>core:2"))).toEqual([true]);
  });

  test("given packets over IPv6 of which nobody knows the form, then a dropped way is found all the same", async () => {
    const group = "ff15::8000:77";
    media.push(
      await bench.site.spawn("encoder", [process.execPath, own, group, "::%eth0", "60000", "5", "400", String(PORT)]),
    );
    const report = await run(group, ['drop, on: "core:3>lobby:eth0", share: 100 %']);
    expect(report.streams).toMatchObject([{ identifiedBy: "digest", format: "any", sent: null }]);
    expect(report.findings.map(({ suspects }) => suspects.includes("core:3>lobby:eth0"))).toEqual([true]);
  });
});
