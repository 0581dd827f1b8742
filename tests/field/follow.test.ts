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
const follow = (group: string): string => `
scenario: follow
streams:
  - { name: tv, production: true, from: encoder, group: "${group}", port: ${PORT} }
timeline:
  - { at: 0s, join: tv, agents: all }
  - { at: 5s, leave: tv, agents: all }
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
  const run = (group: string, faults: readonly string[] = []): Promise<RunReport> =>
    bench.run(follow(group), { faults });
  /** What a host's UDP has sent since it was started: proc(5), /proc/net/snmp. */
  const datagramsSent = async (node: string): Promise<number> => {
    const { stdout } = await bench.site.exec(node, ["cat", "/proc/net/snmp"]);
    const [names = "", values = ""] = stdout.split("\n").filter((line) => line.startsWith("Udp:"));
    return Number(values.split(" ")[names.split(" ").indexOf("OutDatagrams")]);
  };

  test("given MPEG-TS, then it is told apart and read, nobody is accused, and no agent has sent a datagram", async () => {
    const group = await play("MPEG-TS over UDP");
    const agents = ["wall-1", "wall-2", "lobby"];
    const before = await Promise.all(agents.map(datagramsSent));
    const report = await run(group);
    expect(await Promise.all(agents.map(datagramsSent))).toEqual(before);
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
