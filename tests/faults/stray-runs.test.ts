import { readdirSync, rmSync } from "node:fs";
import path from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { afterAll, beforeAll, beforeEach, expect, test } from "vitest";
import { countFrames } from "../field/group-traffic.ts";
import { type LastingSite, raiseLastingSite } from "./lasting-site.ts";

/** Runs that a restarted controller must not lose hold of: one that it does not know, and one whose agents vanish meanwhile. */
const PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  tower: { kind: host }
  kiosk: { kind: host }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0" ]
`;
const GROUP = "239.195.10.4";
const scenario = (hold: string): string => `scenario: strays
hold: ${hold}
streams: [ { name: board, source: tower, group: ${GROUP}, rate: 100 kbit/s } ]
timeline:
  - { at: 0s, join: board, agents: [kiosk] }
  - { at: 1s, emit: board }
  - { at: 300s, stop: board }
`;

let site: LastingSite;
let count: () => Promise<number>;
beforeAll(async () => {
  site = await raiseLastingSite(PLAN, { DYETRACE_TEST_LIVE: "1" });
  count = await countFrames(site.site, "kiosk", `ip daddr ${GROUP} udp dport 48620`);
});
beforeEach(() => site.allConnected());
afterAll(() => site?.[Symbol.asyncDispose]());

/** @returns the run's id, once its source sends at the full rate and a report of it is in the store */
async function flowing(hold: string): Promise<string> {
  const runId = await site.startRun(scenario(hold));
  await site.begun(runId);
  const before = await count();
  await expect.poll(count, { timeout: 60_000 }).toBeGreaterThan(before + 20);
  return runId;
}

/** Waits until no frame has come for three seconds. */
async function quiet(withinMs: number): Promise<void> {
  const deadline = performance.now() + withinMs;
  for (let last = -1, now = await count(); now !== last; now = await count()) {
    if (performance.now() > deadline) throw new Error("The source goes on and on");
    last = now;
    await sleep(3000);
  }
}

/** The store as it was before any of these runs: none of them is in it. */
async function putBackOlderStore(): Promise<void> {
  await site.killController();
  for (const name of readdirSync(site.dataFolder)) {
    if (name.startsWith("dyetrace.sqlite")) rmSync(path.join(site.dataFolder, name));
  }
  await site.startController();
}

const post = (route: string): Promise<Response> => fetch(new URL(route, site.url), { method: "POST" });

test("given a controller whose store was put back from an older copy, then agents end the run that it does not know, although it is heard", async () => {
  const runId = await flowing("1h");
  await putBackOlderStore();
  await quiet(60_000);
  expect((await fetch(new URL(`/api/runs/${runId}`, site.url))).status).toBe(404);
});

test("given an operator who stops every source, then all of it ends, whatever its hold time, and a run that nobody knows is refused", async () => {
  await flowing("1h");
  const answer = await post("/api/stop");
  expect([answer.status, await answer.json()]).toEqual([202, { agents: ["kiosk", "tower"] }]);
  await quiet(60_000);
  expect((await post("/api/runs/00000000000000aa/abort")).status).toBe(404);
});

test("given a live run whose controller is restarted, and a listener that vanishes meanwhile, then the run is stopped for safety", async () => {
  const runId = await flowing("5s");
  await site.killController();
  await site.killAgent("kiosk");
  await site.startController();
  const report = await site.report(runId, 120_000);
  process.stderr.write(`${report.notes.join(" ")}\n`);
  expect(report.notes.join(" ")).toMatch(/Stopped for safety: The agent kiosk was lost/);
  expect(report.notes.join(" ")).not.toMatch(/tower was lost/);
});
