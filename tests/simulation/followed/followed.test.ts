import { readFileSync } from "node:fs";
import type { RunReport } from "@dyetrace/wire";
import { describe, expect, test } from "vitest";
import { seededRandom } from "../seeded-random.ts";
import { drawMedia, MEDIA_KINDS, type MediaKind, type MediaPacket } from "./draw-media.ts";
import { type ComesTo, type FollowOptions, followMedia } from "./follow-media.ts";
import { conclude, followedSite, followRun, lossOn, withNames } from "./follow-scene.ts";

const SECONDS = 6;
const SENDER = "10.4.0.9";
const DEMO = new URL("../../../packages/practice/demo/quillfen.yaml", import.meta.url);
const graph = followedSite(readFileSync(DEMO, "utf8"));
const run = followRun(graph, SECONDS);

/** The media flows before anybody joins and after all have left. */
const mediaOf = (kind: MediaKind, packetsPerSecond = 150): MediaPacket[] =>
  drawMedia(kind, { seconds: SECONDS + 4, packetsPerSecond, random: seededRandom(1) }).map(({ bytes, atNs }) => ({
    bytes,
    atNs: atNs - 2e9,
  }));

const follow = (media: readonly MediaPacket[], comesTo: ComesTo, options: Partial<FollowOptions> = {}): RunReport =>
  conclude(run, followMedia(run, media, comesTo, { sender: SENDER, ...options }), graph);
const drop = (segment: string, ratio: number, seed = 7): ComesTo =>
  lossOn(graph, "encoder", new Map([[segment, ratio]]), seededRandom(seed));
const lastOf = (report: RunReport, listener: string) => report.receipts.filter((one) => one.listener === listener);

describe.each(MEDIA_KINDS)("%s", (kind) => {
  const media = mediaOf(kind);

  test("given a healthy site, clocks 3 ms apart and packets up to 2 ms late, then nobody is accused and nothing is lost", () => {
    const random = seededRandom(5);
    const report = follow(media, () => "comes", {
      clockOffNs: (agent) => (agent.length % 3) * 3e6,
      delayNs: () => Math.floor(random() * 60_000),
    });
    expect(report.findings).toEqual([]);
    expect(report.receipts.every(({ lost, duplicates }) => lost === 0 && duplicates === 0)).toBe(true);
    expect(report.streams.every(({ production, ttl }) => production === true && ttl === null)).toBe(true);
    // Packets without numbers and without a time of sending: nobody knows by how much their delay varies.
    if (kind === "MPEG-TS over UDP" || kind === "undocumented UDP")
      expect(report.receipts.every((one) => one.delayVariation === null && one.jitterMs === null)).toBe(true);
  });

  test.each([
    ["core:1>pier-east:24", 0.05],
    ["hall-hub:2>till-1:eth0", 0.05],
    ["core:3>hall:24", 1],
    ["hall-ap:radio>tablet:wlan0", 1],
  ])(
    "given packets dropped on %s (%d), then that is among the suspects, and every finding names it",
    (segment, ratio) => {
      const { findings, verdict } = follow(media, drop(segment, ratio));
      expect(findings.length).toBeGreaterThan(0);
      for (const { suspects } of findings) expect(suspects).toContain(segment);
      expect(verdict).toBe("fail");
    },
  );

  test("given copies at one switch, then its listeners alone have duplicates", () => {
    const report = follow(media, (agent) => (agent.startsWith("kiosk") ? "twice" : "comes"));
    for (const { listener, duplicates, lost } of report.receipts) {
      expect(lost).toBe(0);
      expect((duplicates ?? 0) > 0).toBe(listener.startsWith("kiosk"));
    }
  });
});

describe("what cannot be known is said", () => {
  test("given a loss before the first branching, then sequence numbers and counters show it, and digests can't", () => {
    const lossOf = (kind: MediaKind): number =>
      Math.max(
        ...follow(mediaOf(kind), drop("encoder:eth0>core:11", 0.05)).receipts.map(({ lossRatio }) => lossRatio ?? 0),
      );
    expect(lossOf("MPEG-TS in RTP")).toBeCloseTo(0.05, 1);
    expect(lossOf("MPEG-TS over UDP")).toBeCloseTo(0.05, 1);
    expect(lossOf("undocumented UDP")).toBe(0);
    const report = follow(mediaOf("undocumented UDP"), drop("encoder:eth0>core:11", 0.05));
    expect(report.streams[0]).toMatchObject({ identifiedBy: "digest", sent: null });
    expect(report.notes.join(" ")).toContain("What was lost before the ways part is not known");
  });

  test.each(["MPEG-TS over UDP", "undocumented UDP"] as const)(
    "%s: given nothing to anybody for 2 s, then it is said and nobody passes; the way before the branching is never told as sound",
    (kind) => {
      const media = mediaOf(kind);
      const atNs = (packet: number): number => media[packet]?.atNs ?? 0;
      const silent = follow(media, (_, packet) => (atNs(packet) > 2e9 && atNs(packet) < 4.1e9 ? "lost" : "comes"));
      expect(silent.findings).toEqual([]);
      expect(silent.verdict).toBe("inconclusive");
      expect(silent.notes.join(" ")).toMatch(
        /Nobody received lobby from 2\.0 s to 4\.1 s: it paused, or it stopped before/,
      );
      const sound = follow(media, () => "comes");
      expect(sound.verdict).toBe("pass");
      for (const { segments } of [silent, sound]) {
        const statusOf = (id: string) => segments.find((one) => one.id === id);
        expect(statusOf("encoder:eth0>core:11")).toMatchObject({ lossRatio: null, high: null, status: "unknown" });
        expect(statusOf("core:1>pier-east:24")?.status).toBe("ok");
      }
    },
  );

  test("given a stream that nobody sees, then the first way is a suspect and so is the sender, and nothing is sure", () => {
    const report = follow(mediaOf("MPEG-TS in RTP"), () => "lost");
    const [finding] = report.findings;
    expect(finding?.suspects).toEqual(expect.arrayContaining(["encoder:eth0>core:11", "encoder"]));
    expect(finding?.confidence).toBeLessThanOrEqual(0.5);
    expect(report.streams[0]).toMatchObject({ identifiedBy: null, sent: null });
    expect(report.receipts.every(({ sent, lost, received }) => sent === null && lost === null && received === 0)).toBe(
      true,
    );
  });

  test("given packets that all have one payload, then their loss is not known and nobody is accused", () => {
    const same = mediaOf("undocumented UDP").map(({ atNs }) => ({ bytes: new Uint8Array(100), atNs }));
    const report = follow(same, drop("core:1>pier-east:24", 0.05));
    expect(report.streams[0]?.identifiedBy).toBeNull();
    expect(report.findings.every(({ suspects }) => suspects.length === 0)).toBe(true);
    expect(report.notes.join(" ")).toContain("can't be told apart");
  });

  test("given more packets than an agent may name, then the same ones are compared everywhere, and the loss is found", () => {
    const few = withNames(run, 80);
    const evidence = followMedia(few, mediaOf("undocumented UDP"), drop("core:1>pier-east:24", 0.08), {
      sender: SENDER,
    });
    const report = conclude(few, evidence, graph);
    expect(report.streams[0]?.comparedOneIn).toBeGreaterThan(1);
    expect(report.findings.map(({ suspects }) => suspects.includes("core:1>pier-east:24"))).toEqual([true]);
    const [kiosk] = lastOf(report, "kiosk-1");
    expect(kiosk?.lossRatio).toBeCloseTo(0.08, 1);
  });
});

describe("what viewers feel", () => {
  test("given a transport stream of two programs that loses packets at one screen, then its headers tell there alone", () => {
    const report = follow(mediaOf("MPEG-TS over UDP"), drop("pier-west:1>board-1:eth0", 0.02));
    const of = (listener: string) => report.media?.find((one) => one.listener === listener);
    expect(of("board-2")?.transportStream).toMatchObject({
      programs: 2,
      continuityErrors: 0,
      pcrOverdue: 0,
      patOverdue: 0,
      syncLosses: 0,
    });
    expect(of("board-2")).toMatchObject({ seconds: 5, errorFreeSeconds: 5 });
    expect(of("board-1")?.transportStream?.continuityErrors).toBeGreaterThan(0);
    expect(of("board-1")?.errorFreeSeconds).toBeLessThan(5);
  });

  test("given RTP, then payload type and clock are told where the type fixes it", () => {
    const report = follow(mediaOf("MPEG-TS in RTP"), () => "comes");
    expect(report.media?.[0]).toMatchObject({ payloadType: 33, clockHz: 90_000, strayPackets: 0 });
  });
});

test("given a source that begins its numbers anew in mid-run, and hosts that joined at other cycles, then nothing is lost", () => {
  const first = mediaOf("MPEG-TS in RTP").filter(({ atNs }) => atNs < 3e9);
  const second = drawMedia("MPEG-TS in RTP", { seconds: 8, packetsPerSecond: 150, random: seededRandom(99) }).map(
    ({ bytes, atNs }) => {
      const same = Uint8Array.from(bytes);
      same.set(first[0]?.bytes.subarray(8, 12) ?? [], 8); // the SSRC stays
      return { bytes: same, atNs: atNs + 3.2e9 };
    },
  );
  const report = follow([...first, ...second], () => "comes");
  expect(report.receipts.every(({ lost }) => lost === 0)).toBe(true);
  expect(report.findings.filter(({ suspects }) => suspects.length > 0)).toEqual([]);
});
