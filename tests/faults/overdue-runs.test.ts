import { spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, rmSync } from "node:fs";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import path from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import { loadSitePlan } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import { afterEach, beforeEach, expect, test } from "vitest";
import { compileScenario } from "../../controller/src/plan/compile-scenario.ts";
import { packCompiledRun } from "../../controller/src/plan/compiled-run-json.ts";
import { openStore } from "../../controller/src/store/store.ts";

/** What a disk that was full leaves behind: runs that are long over, and of which no end could be written down. */
const PROGRAM = fileURLToPath(new URL("../../controller/bin/dyetrace.mjs", import.meta.url));
const PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  tower: { kind: host }
  kiosk: { kind: host }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0" ]
`;
const SCENARIO = `scenario: reach
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 1 Mbit/s } ]
timeline:
  - { at: 0s, join: board, agents: [kiosk] }
  - { at: 1s, emit: board }
  - { at: 10s, stop: board }
`;
const [BROKEN, FIRST, SECOND, THIRD] = ["00000000000000a0", "00000000000000a1", "00000000000000a2", "00000000000000a3"];

let folder = "";
beforeEach(async () => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-overdue-"));
  await using store = await openStore({ kind: "folder", folder });
  const graph = loadSitePlan(PLAN, "plan.yaml");
  const { scenario } = loadScenario(SCENARIO, "reach.yaml", { parameters: {} });
  for (const [index, runId] of [BROKEN, FIRST, SECOND, THIRD].entries()) {
    const run = compileScenario(runId, scenario, graph, new Map());
    const site = { file: "plan.yaml", text: runId === BROKEN ? "site: [" : PLAN };
    const request = { site, scenario: { file: "reach.yaml", text: SCENARIO } };
    const about = { runId, site: "Quillfen", scenario: "reach", request, endNs: run.endNs, startAtMs: null };
    await store.runs.add({ ...about, programVersion: "0.1.0", owner: "gone" });
    const start = { wallMs: Date.now() - 3600e3 * (index + 1), controllerNs: 0, bootId: "another boot" };
    await store.runs.started(runId, start, packCompiledRun(run));
  }
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const serve = (listen: string) =>
  spawn(process.execPath, [PROGRAM, "controller", "--data", folder, "--listen", listen], {
    stdio: ["ignore", "pipe", "pipe"],
  });

test("a controller's start: given several runs that were left unfinished, then it answers, and each of them gets its end", async () => {
  const child = serve("127.0.0.1:0");
  let words = "";
  child.stdout.on("data", (chunk: Buffer) => (words += chunk.toString()));
  child.stderr.on("data", () => undefined);
  try {
    await expect.poll(() => /http:\S+[0-9]/.exec(words)?.[0] ?? null, { timeout: 60_000 }).not.toBeNull();
    const url = /http:\/\/[0-9.]+:[0-9]+/.exec(words)?.[0] ?? "";
    const stateOf = async (runId: string): Promise<string> =>
      ((await (await fetch(new URL(`/api/runs/${runId}`, url))).json()) as { state: string }).state;
    const states = (): Promise<string[]> => Promise.all([BROKEN, FIRST, SECOND, THIRD].map(stateOf));
    await expect.poll(states, { timeout: 90_000, interval: 500 }).toEqual(["failed", "done", "done", "done"]);
  } finally {
    child.kill("SIGKILL");
    await once(child, "exit");
  }
});

test("a controller's start: given an unfinished run and an address that is taken, then it ends by itself with exit code 2", async () => {
  const taken = createServer().listen(0, "127.0.0.1");
  await once(taken, "listening");
  const child = serve(`127.0.0.1:${(taken.address() as { port: number }).port}`);
  let words = "";
  for (const stream of [child.stdout, child.stderr]) stream.on("data", (chunk: Buffer) => (words += chunk.toString()));
  const ended = once(child, "exit");
  const outcome = await Promise.race([ended, sleep(60_000, "still there", { ref: false })]);
  child.kill("SIGKILL");
  await ended;
  taken.close();
  expect(outcome).toEqual([2, null]);
  expect(words).toContain("[PORT_TAKEN]");
});
