import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type LastingSite, raiseLastingSite } from "./lasting-site.ts";

/** The wall clocks of the controller and of all agents step by an hour, forth and back, in the middle of a run. */
const PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  tower: { kind: host }
  kiosk: { kind: host }
  office: { kind: host }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0", "core:3 -- office:eth0" ]
`;
const SCENARIO = `scenario: containment
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 2 Mbit/s } ]
timeline:
  - { at: 1s, emit: board }
  - { at: 3s, join: board, agents: [kiosk] }
  - { at: 19s, leave: board, agents: [kiosk] }
  - { at: 24s, stop: board }
expect: { loss: 0 %, leaks: none }
`;

const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-steps-"));
const steps = path.join(folder, "steps");
let site: LastingSite;
beforeAll(async () => {
  writeFileSync(steps, "0 0\n");
  const shim = new URL("./stepped-clock.mjs", import.meta.url).href;
  site = await raiseLastingSite(PLAN, {
    NODE_OPTIONS: `--import ${shim}`,
    DYETRACE_STEPS: steps,
    DYETRACE_UNBUNDLED: "1",
  });
});
afterAll(async () => {
  await site?.[Symbol.asyncDispose]();
  rmSync(folder, { recursive: true });
});

test("clock steps of an hour forth, two back and one forth: given a run through all of them, then nothing was lost, nothing leaked, and no delay is off", async () => {
  const runId = await site.startRun(SCENARIO);
  const { startMs } = await site.begun(runId);
  let told = "0 0\n";
  for (const [atMs, by] of [
    [6000, 3600],
    [10_000, -7200],
    [14_000, 3600],
  ] as const) {
    await sleep(Math.max(0, startMs + atMs - performance.now()));
    told += `${Date.now() / 1000 + 0.1} ${by}\n`;
    writeFileSync(steps, told);
  }
  const report = await site.report(runId, 90_000);
  const [receipt] = report.receipts;
  const { sent, received, lost, longestGapMs, jitterMs, joinDelayMs, leaveDelayMs } = receipt ?? {};
  process.stderr.write(
    `${report.verdict}: ${JSON.stringify({ sent, received, lost, longestGapMs, jitterMs, joinDelayMs, leaveDelayMs })} ${report.notes.join(" ")}\n`,
  );
  expect(received).toBeGreaterThan(2000);
  expect([lost, received]).toEqual([0, sent]);
  // A step that got into a time would be 3,600,000 ms.
  for (const delay of [longestGapMs, jitterMs, joinDelayMs]) {
    expect(delay).toBeGreaterThanOrEqual(0);
    expect(delay).toBeLessThan(5000);
  }
  if (leaveDelayMs !== null) expect(leaveDelayMs).toBeLessThan(10_000);
  expect(report.findings).toEqual([]);
  expect(report.bystanders.filter(({ frames }) => frames !== 0)).toEqual([]);
  const seenBy = new Set(readFileSync(`${steps}.seen`, "utf8").trim().split("\n"));
  expect(seenBy.size).toBeGreaterThanOrEqual(2); // agents that met packets with stepped arrival times
});
