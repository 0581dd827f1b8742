import { readFileSync } from "node:fs";
import { pathBetween } from "@dyetrace/site";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";

const PLAN = readFileSync(new URL("../../packages/practice/demo/quillfen.yaml", import.meta.url), "utf8");
/** Everyone joins; each run has a group of its own, so that no membership of the run before is left over. */
const reach = (group: string): string => `
scenario: reach
streams:
  - { name: board, source: tower, group: ${group}, rate: 2 Mbit/s }
timeline:
  - { at: 0s, join: board }
  - { at: 500ms, emit: board }
  - { at: 1700ms, stop: board }
expect: { loss: 0 % }
`;

let nextGroup = 1;
const freshGroup = (): string => `239.195.20.${nextGroup++}`;

describe("main job: given the demo site, from the kernel's own bridges", () => {
  let bench: PracticeBench;
  /** A second one, so that the two directions are gone through side by side. */
  let other: PracticeBench;
  beforeAll(async () => {
    [bench, other] = await Promise.all([raiseBench(PLAN), raiseBench(PLAN)]);
  });
  afterAll(() => Promise.all([bench, other].map((one) => one[Symbol.asyncDispose]())));

  test("given no fault, then the verdict is pass, nothing is found, and every segment on the way is ok", async () => {
    const report = await bench.run(reach(freshGroup()));
    expect(report).toMatchObject({ verdict: "pass", findings: [], notes: expect.any(Array) });
    expect(report.receipts).toHaveLength(9);
    for (const receipt of report.receipts) {
      expect(receipt).toMatchObject({ lost: 0, hostLost: 0, duplicates: 0, reordered: 0, hops: 0, asUnicastRatio: 0 });
      expect(receipt.received).toBe(report.streams[0]?.sent);
    }
    const elected = report.queriers.filter((querier) => querier.isElected && querier.family === 4);
    expect(elected.map((querier) => querier.heardBy.length)).toEqual([10]);
  });

  test.concurrent("given a drop on each link in turn, in the direction of the data, then that segment is the first suspect", async () => {
    const { graph } = bench.site;
    const used = new Set<string>();
    for (const node of graph.nodes.values()) {
      for (const segment of pathBetween(graph, "tower", node.name)?.segments ?? []) used.add(segment.id);
    }
    expect(used.size).toBe(graph.links.length);
    for (const id of used) {
      const report = await bench.run(reach(freshGroup()), { faults: [`drop, on: "${id}", share: 100 %`] });
      expect(report.findings, `drop on ${id}`).toHaveLength(1);
      const [finding] = report.findings;
      expect(finding?.kind).toBe("stops");
      expect(finding?.suspects, `drop on ${id}`).toContain(id);
      // Only the access point has neither a branch nor an agent: the links on its two sides look the same.
      if (!id.includes("hall-ap")) expect(finding?.suspects[0]).toBe(id);
      expect(report.verdict).toBe("fail");
      if ((finding?.suspects.length ?? 0) > 1) {
        expect(finding?.evidence.join(" "), `drop on ${id}`).toMatch(/apart|looks? the same/);
      }
    }
  }, 600_000);

  test.concurrent("given a drop on each link in turn, against the data, then what loses the reports is among the suspects", async () => {
    const { graph } = other.site;
    const upward = [...graph.nodes.keys()].flatMap(
      (node) => pathBetween(graph, node, "tower")?.segments.at(0)?.id ?? [],
    );
    const toSource = "core:9>tower:eth0"; // nobody's report needs to pass there
    for (const id of new Set(upward.filter((candidate) => candidate !== toSource))) {
      const report = await other.run(reach(freshGroup()), { faults: [`drop, on: "${id}", share: 100 %`] });
      if (id.startsWith("core:9>")) continue;
      // Behind an unmanaged switch one port's report is enough for its neighbour: nothing stops, nothing may be blamed.
      const isShared = ["till-1:eth0>hall-hub:2", "till-2:eth0>hall-hub:3"].includes(id);
      if (isShared) {
        expect(report.findings, `drop on ${id}`).toEqual([]);
        expect(report.verdict).toBe("pass");
      } else {
        expect(report.findings, `drop on ${id}`).toHaveLength(1);
        expect(report.findings[0]?.suspects, `drop on ${id}`).toContain(id);
      }
    }
  }, 600_000);

  test("given a run, then the kernel's group table lists the group on the ports toward the listeners, and on no other", async () => {
    const group = freshGroup();
    let table = "";
    await bench.run(reach(group).replaceAll("join: board", "join: board, agents: [kiosk-1, tablet]"), {
      onProgress: (progress) => {
        if (progress.kind !== "second" || table !== "") return;
        void bench.site.exec("core", ["bridge", "-d", "mdb", "show"]).then(({ stdout }) => {
          table = stdout;
        });
      },
    });
    const ports = table
      .split("\n")
      .filter((line) => line.includes(`grp ${group} `))
      .map((line) => / port (\S+) /.exec(line)?.[1]);
    expect(ports.toSorted()).toEqual(["p1", "p3"]); // core:1 to pier-east, core:3 to hall
  });

  test("given an agent killed in mid-run, then the report says so and the verdict is not pass", async () => {
    let isKilled = false;
    const report = await bench.run(reach(freshGroup()).replace("1700ms", "5s"), {
      onProgress: (progress) => {
        if (progress.kind !== "second" || progress.atMs < 2400 || isKilled) return; // it has told of a second by then
        isKilled = true;
        bench.practice.agents.get("lounge")?.signal("SIGKILL");
      },
    });
    expect(report.verdict).toBe("inconclusive");
    expect(report.reason).toContain("lounge");
    expect(report.notes.join(" ")).toContain("lounge was lost");
    const lounge = report.receipts.find((receipt) => receipt.listener === "lounge");
    // What it had told of stands; of the rest nobody can say anything.
    expect(lounge).toMatchObject({ lost: 0, lossRatio: 0 });
    expect(lounge?.unknown).toBeGreaterThan(300);
    expect(report.findings).toEqual([]);
  });
});
