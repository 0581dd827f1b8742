import { readFileSync } from "node:fs";
import type { RunProgress, RunReport } from "@dyetrace/wire";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type PracticeBench, raiseBench, shippedScenario } from "./support/practice-bench.ts";
import { accusations, findingOf, receiptOf, tell, UNBROKEN } from "./support/report-look-up.ts";

/** Beginnings and ends: links that are dead at first, sources that stop, agents that are away. */
const PLAN = readFileSync(new URL("../../packages/practice/demo/quillfen.yaml", import.meta.url), "utf8");
const LINK = "core:1>pier-east:24";
const BEHIND_LINK = ["kiosk-1", "kiosk-2"];

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(PLAN);
});
afterAll(() => bench[Symbol.asyncDispose]());

/** 190 packets/s. */
const plain = (group: string, stop: string): string => `
scenario: plain
streams:
  - { name: board, source: tower, group: ${group}, rate: 2 Mbit/s }
timeline:
  - { at: 0s, join: board }
  - { at: 500ms, emit: board }
  - { at: ${stop}, stop: board }
expect: { loss: 0 % }
`;

/** Does things at times of the run; what they do is over when the run is. */
class Timetable {
  readonly #timers: NodeJS.Timeout[] = [];
  readonly #done: Promise<unknown>[] = [];
  readonly #plan: readonly (readonly [afterMs: number, action: () => unknown])[];

  constructor(...plan: readonly (readonly [afterMs: number, action: () => unknown])[]) {
    this.#plan = plan;
  }

  readonly onProgress = (progress: RunProgress): void => {
    if (progress.kind !== "go") return;
    for (const [afterMs, action] of this.#plan) {
      const run = (): void => void this.#done.push(Promise.resolve(action()));
      this.#timers.push(setTimeout(run, progress.startsInMs + afterMs));
    }
  };

  async end(): Promise<void> {
    for (const timer of this.#timers) clearTimeout(timer);
    await Promise.all(this.#done);
  }
}

const managementLink = (node: string, state: "up" | "down"): Promise<unknown> =>
  bench.site.exec(node, ["ip", "link", "set", "mgmt0", state]);

const statusOf = (report: RunReport, id: string): string | undefined =>
  report.segments.find((segment) => segment.id === id)?.status;

test.each(["reach", "soak"])(
  "%s: given a link that is dead at first and heals in mid-run, then it is named, and not called good",
  async (name) => {
    const report = await bench.run(shippedScenario(name), {
      parameters: {
        source: "tower",
        group: name === "reach" ? "239.195.50.1" : "239.195.50.2",
        rate: "2 Mbit/s",
        length: "7s",
      },
      faults: [`drop, on: "${LINK}", share: 100 %, at: 0s, until: 4s`],
    });
    const [finding, ...others] = accusations(report);
    expect(others, tell(report)).toEqual([]);
    expect(finding?.suspects[0], tell(report)).toBe(LINK);
    expect(statusOf(report, LINK), tell(report)).not.toBe("ok");
    expect(report.verdict).toBe("fail");
    for (const listener of BEHIND_LINK) expect(receiptOf(report, "board", listener).lost).toBeGreaterThan(300);
  },
);

test("given a cut in the last fifth of a run, then it is a stop, and no loss", async () => {
  const report = await bench.run(plain("239.195.50.3", "7500ms"), {
    faults: [`drop, on: "${LINK}", share: 100 %, at: 6500ms`],
  });
  const finding = findingOf(report, "stops");
  expect(finding.suspects[0]).toBe(LINK);
  expect(accusations(report)).toEqual([finding]);
  expect(statusOf(report, LINK)).toBe("stops");
});

test("given a source that stands still for 3 s and a cut after that, then both are told, the cut at its time by the kernel's clock", async () => {
  const tower = bench.practice.agents.get("tower");
  let cutAtMs = 0;
  const timetable = new Timetable(
    [2_000, () => tower?.signal("SIGSTOP")],
    [5_000, () => tower?.signal("SIGCONT")],
    [
      7_000,
      async () => {
        await bench.site.exec("core", ["ip", "link", "set", "p1", "down"]);
        cutAtMs = Date.now();
      },
    ],
  );
  const report = await bench
    .run(plain("239.195.50.4", "9500ms"), { onProgress: timetable.onProgress })
    .finally(async () => {
      tower?.signal("SIGCONT");
      await timetable.end();
      await bench.site.exec("core", ["ip", "link", "set", "p1", "up"]);
      await bench.site.settled();
    });
  expect(findingOf(report, "source-stalled").suspects).toEqual(["tower"]);
  const stop = findingOf(report, "stops");
  expect(stop.suspects, tell(report)).toContain(LINK);
  const toldS = /the last at ([0-9.]+) s/.exec(stop.evidence.join(" "))?.[1];
  const cutS = (cutAtMs - Date.parse(report.startedAt)) / 1000;
  expect(Math.abs(Number(toldS) - cutS), `cut at ${cutS} s: ${tell(report)}`).toBeLessThan(0.3);
});

test("given an agent whose control link is down for some seconds, then it hands on what it measured, and nothing is missing", async () => {
  const timetable = new Timetable(
    [2_000, () => managementLink("lounge", "down")],
    [4_500, () => managementLink("lounge", "up")],
  );
  const report = await bench
    .run(plain("239.195.50.5", "9s"), { onProgress: timetable.onProgress })
    .finally(() => timetable.end());
  expect(report.verdict, tell(report)).toBe("pass");
  const receipt = receiptOf(report, "board", "lounge");
  expect(receipt).toMatchObject(UNBROKEN);
  expect(receipt.unknown).toBeUndefined();
  expect(receipt.received).toBe(report.streams[0]?.sent);
});

test("given a source's agent that is killed and a listener's that is away to the end, then what all had measured until then stands", async () => {
  const timetable = new Timetable(
    [3_500, () => managementLink("lounge", "down")],
    [5_500, () => bench.practice.agents.get("tower")?.signal("SIGKILL")],
  );
  const report = await bench
    .run(plain("239.195.50.6", "9s"), { onProgress: timetable.onProgress })
    .finally(async () => {
      await timetable.end();
      await managementLink("lounge", "up");
    });
  expect(report.findings, tell(report)).toEqual([]);
  expect(report.verdict).toBe("inconclusive");
  expect(report.reason).toMatch(/tower.*lounge|lounge.*tower/);
  // 190 packets/s for 5 s, of which the lounge's agent told of 2 at least.
  const whole = receiptOf(report, "board", "kiosk-1");
  expect(whole).toMatchObject({ lost: 0, gaps: [] });
  expect(whole.unknown).toBeUndefined();
  expect(whole.received).toBeGreaterThan(900);
  expect(whole.received).toBe(whole.sent);
  const partial = receiptOf(report, "board", "lounge");
  expect(partial).toMatchObject({ lost: 0, gaps: [] });
  expect(partial.received).toBeGreaterThan(350);
  expect(partial.unknown).toBeGreaterThan(150);
  expect((partial.sent ?? 0) + (partial.unknown ?? 0)).toBe(whole.sent);
});
