import { readFileSync } from "node:fs";
import type { RunReport } from "@dyetrace/wire";
import { describe, expect, test } from "vitest";
import { seededRandom } from "../seeded-random.ts";
import { drawMedia, MEDIA_KINDS } from "./draw-media.ts";
import { type ComesTo, followMedia } from "./follow-media.ts";
import { conclude, followedSite, followRun, lossOn } from "./follow-scene.ts";

const SECONDS = 6;
const DEMO = new URL("../../../packages/practice/demo/quillfen.yaml", import.meta.url);
const graph = followedSite(readFileSync(DEMO, "utf8"));
const watching = (agents: string) =>
  followRun(
    graph,
    SECONDS,
    "from: encoder",
    `- { at: 0s, watch: lobby, agents: ${agents} }
  - { at: ${SECONDS}s, leave: lobby, agents: all }`,
  );
const joining = (agents: string) =>
  followRun(
    graph,
    SECONDS,
    "from: encoder",
    `- { at: 0s, join: lobby, agents: [${agents}] }
  - { at: ${SECONDS}s, leave: lobby, agents: [${agents}] }`,
  );

describe.each(MEDIA_KINDS)("%s that is watched, and joined by nobody of ours", (kind) => {
  const media = drawMedia(kind, { seconds: SECONDS + 4, packetsPerSecond: 150, random: seededRandom(1) }).map(
    ({ bytes, atNs }) => ({ bytes, atNs: atNs - 2e9 }),
  );
  const follow = (
    run: ReturnType<typeof watching>,
    comesTo: ComesTo,
    isHostMember: (agent: string) => boolean | null,
  ): RunReport => conclude(run, followMedia(run, media, comesTo, { sender: "10.4.0.9", isHostMember }), graph);
  const all = watching("all");

  test("given programs on all hosts that joined, then a healthy site accuses nobody, and no join of ours is told", () => {
    const report = follow(
      all,
      () => "comes",
      () => true,
    );
    expect(report.findings).toEqual([]);
    expect(report.receipts).toHaveLength(all.tasks.size * report.streams.length);
    for (const { lost, received, joinDelayMs, leaveDelayMs } of report.receipts) {
      expect({ lost, joinDelayMs, leaveDelayMs }).toEqual({ lost: 0, joinDelayMs: null, leaveDelayMs: null });
      expect(received).toBeGreaterThan(0);
    }
    expect(report.bystanders).toEqual([]);
    expect(report.notes.join(" ")).toContain("was followed at the network card");
  });

  test.each([
    ["core:1>pier-east:24", 0.05],
    ["hall-hub:2>till-1:eth0", 1],
  ])("given packets dropped on %s (%d), then that is among the suspects as if we had joined", (segment, ratio) => {
    const { findings } = follow(
      all,
      lossOn(graph, "encoder", new Map([[segment, ratio]]), seededRandom(7)),
      () => true,
    );
    expect(findings.length).toBeGreaterThan(0);
    for (const { suspects } of findings) expect(suspects).toContain(segment);
  });

  test("given hosts without a program that joined, to which the stream comes all the same, then it leaks there", () => {
    const run = joining("board-1, board-2");
    const leaked = ["kiosk-1", "kiosk-2"];
    const report = follow(
      run,
      (agent) => (agent.startsWith("board") || leaked.includes(agent) ? "comes" : "lost"),
      () => false,
    );
    const leaks = report.findings.filter(({ kind }) => kind === "leaks");
    expect(leaks.length).toBeGreaterThan(0);
    expect(report.findings).toHaveLength(leaks.length);
    for (const { suspects } of leaks) expect(suspects.join(" ")).toMatch(/pier-east/);
    for (const { agent, frames } of report.bystanders) expect((frames ?? 0) > 0).toBe(leaked.includes(agent));
  });

  test("given a host that can't watch beside one that saw nothing, then the one is not known and the other is quiet", () => {
    const report = follow(
      joining("board-1, board-2"),
      (agent) => (agent.startsWith("board") ? "comes" : "lost"),
      (agent) => (agent === "lounge" ? null : false),
    );
    expect(report.findings).toEqual([]);
    for (const { agent, frames } of report.bystanders) expect(frames).toBe(agent === "lounge" ? null : 0);
  });

  test("given nobody who joined anywhere, then nothing is accused, and that is what is said", () => {
    const report = follow(
      watching("[kiosk-1, lounge]"),
      () => "lost",
      (agent) => (agent === "lounge" ? null : false),
    );
    expect(report.findings).toEqual([]);
    expect(report.verdict).toBe("inconclusive");
    const notes = report.notes.join(" ");
    expect(notes).toContain("Nobody here had joined lobby, and nothing of it came");
    expect(notes).toContain("No program on kiosk-1 was found to have joined lobby");
    expect(notes).toContain("lounge could not follow lobby at the network card");
    expect(notes).not.toContain("it stops before the ways");
  });
});
