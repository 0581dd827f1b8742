import { readFileSync } from "node:fs";
import { loadSitePlan, type SiteGraph } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { describe, expect, test } from "vitest";
import { seededRandom } from "../seeded-random.ts";
import { drawMedia, type MediaKind } from "./draw-media.ts";
import { type ComesTo, followMedia } from "./follow-media.ts";
import { conclude, followedSite, followRun, lossOn } from "./follow-scene.ts";

const SECONDS = 6;
const DEMO = readFileSync(new URL("../../../packages/practice/demo/quillfen.yaml", import.meta.url), "utf8");
const inPlan = followedSite(DEMO);
const notInPlan = loadSitePlan(DEMO, "quillfen.yaml");
const behindRouter = loadSitePlan(
  DEMO.replace(
    "nodes:\n",
    "nodes:\n  gate: { kind: router }\n  plant: { kind: switch }\n  encoder: { kind: host, agent: none, address: 10.4.0.9 }\n",
  ).replace("links:\n", "links:\n  - core:11 -- gate:1\n  - gate:2 -- plant:1\n  - plant:2 -- encoder:eth0\n"),
  "quillfen.yaml",
);

const mediaOf = (kind: MediaKind) =>
  drawMedia(kind, { seconds: SECONDS + 4, packetsPerSecond: 150, random: seededRandom(1) }).map(({ bytes, atNs }) => ({
    bytes,
    atNs: atNs - 2e9,
  }));

function follow(
  graph: SiteGraph,
  from: string,
  kind: MediaKind,
  comesTo: ComesTo,
  { untilNs = Number.POSITIVE_INFINITY, sender = "10.4.0.9" } = {},
): RunReport {
  const run = followRun(graph, SECONDS, from);
  const media = mediaOf(kind).filter(({ atNs }) => atNs < untilNs);
  return conclude(run, followMedia(run, media, comesTo, { sender }), graph);
}

const KINDS: readonly MediaKind[] = ["MPEG-TS in RTP", "undocumented UDP"];

describe.each(KINDS)("%s", (kind) => {
  test("given a stream that ends for everybody at once, then nothing is lost, nobody is accused, and its end is in doubt", () => {
    const { findings, receipts, notes, verdict, reason } = follow(inPlan, "from: encoder", kind, () => "comes", {
      untilNs: 3e9,
    });
    expect(findings).toEqual([]);
    expect(receipts.every(({ lost }) => lost === 0)).toBe(true);
    expect(notes.join(" ")).toContain("Nobody received lobby from 3 s on: it ended there, or it stopped before");
    expect(verdict).toBe("inconclusive");
    expect(reason).toContain("came to nobody from 3 s on");
  });

  test.each(["from: 10.9.9.9", "from: any"])(
    "given a sender that is no place in the plan (%s), then it is said who lost, and that where can't be told",
    (from) => {
      const lossy = lossOn(inPlan, "encoder", new Map([["core:1>pier-east:24", 0.05]]), seededRandom(7));
      const sender = "10.9.9.9";
      const hit = follow(notInPlan, from, kind, lossy, { sender });
      expect(hit.streams[0]).toMatchObject({ source: sender, senders: [sender] });
      expect(hit.findings.flatMap(({ suspects }) => suspects)).toEqual([]);
      const losers = hit.receipts.filter(({ lost }) => lost !== 0).map(({ listener }) => listener);
      expect(losers).toEqual(["kiosk-1", "kiosk-2"]);
      expect(hit.verdict).toBe("inconclusive");
      expect(hit.reason).toMatch(/^kiosk-1, kiosk-2 lost up to [345]\.[0-9] % of lobby, and where can't be told/);
      const whole = follow(notInPlan, from, kind, () => "comes", { sender });
      expect(whole.verdict).toBe("pass");
      for (const { notes } of [hit, whole])
        expect(notes.join(" ")).toContain("10.9.9.9, which is no place in the site plan");
    },
  );

  test("given a sender behind a router, then a loss beyond it and one on the way to it lie where they are", () => {
    const of = (segment: string, ratio: number): RunReport =>
      follow(
        behindRouter,
        "from: encoder",
        kind,
        lossOn(behindRouter, "encoder", new Map([[segment, ratio]]), seededRandom(7)),
      );
    expect(follow(behindRouter, "from: encoder", kind, () => "comes").findings).toEqual([]);
    expect(
      of("core:1>pier-east:24", 0.05).findings.map(({ suspects }) => suspects.includes("core:1>pier-east:24")),
    ).toEqual([true]);
    const { findings, verdict } = of("gate:1>core:11", 0.05);
    // Without a number nobody sees what all miss.
    if (kind === "undocumented UDP") expect([findings, verdict]).toEqual([[], "pass"]);
    else expect(findings.map(({ suspects }) => suspects.includes("gate:1>core:11"))).toEqual([true]);
    const [silent] = of("gate:1>core:11", 1).findings;
    expect(silent?.suspects).toEqual(expect.arrayContaining(["gate:1>core:11", "gate", "encoder"]));
    const words = silent?.evidence.join(" ") ?? "";
    expect(words).toContain("Whether encoder sends lobby is not known");
    expect(words).not.toMatch(/encoder sent|0 of [0-9]+ packets/);
  });
});
