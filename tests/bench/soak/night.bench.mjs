/**
 * A night in fast time through the real store: 20 agents that listen to 10 streams each for 12 hours, a report a second,
 * rolled up as it ages. Prints what it takes on disk, how long the morning's summary takes, and whether every packet is
 * still counted.
 *
 *   npm run build && node tests/bench/soak/night.bench.mjs [--hours 12] [--json FILE]
 */
import { mkdtempSync, readdirSync, rmSync, statSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { parseArgs } from "node:util";
import { loadSitePlan } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import { accountStretches } from "../../../controller/dist/intake/account-stretches.js";
import { countMinutes } from "../../../controller/dist/intake/count-minutes.js";
import { noteEpisodes } from "../../../controller/dist/intake/note-episodes.js";
import { summariseNight } from "../../../controller/dist/night/morning/night-summary.js";
import { compileScenario } from "../../../controller/dist/plan/compile-scenario.js";
import { packCompiledRun } from "../../../controller/dist/plan/compiled-run-json.js";
import { renderNight } from "../../../controller/dist/report/terminal-night.js";
import { diskNeed } from "../../../controller/dist/runs/disk-need.js";
import { rollUpRun } from "../../../controller/dist/runs/upkeep.js";
import { packBody } from "../../../controller/dist/store/pack/pack-body.js";
import { DEFAULT_RETENTION } from "../../../controller/dist/store/retention.js";
import { openStore } from "../../../controller/dist/store/store.js";
import { reportOf, SimulatedListener } from "./simulated-reports.mjs";

const { values: options } = parseArgs({
  options: { hours: { type: "string", default: "12" }, json: { type: "string" } },
});
const SECONDS = Math.round(Number(options.hours) * 3600);
const AGENTS = 20;
const STREAMS = 10;
const PACKETS_PER_SECOND = 10;
const RUN = "00000000000000aa";

const hosts = Array.from({ length: AGENTS }, (_, i) => `host-${String(i + 1).padStart(2, "0")}`);
const plan = [
  "site: Night bench",
  "nodes:",
  "  core: { kind: switch, querier: true }",
  "  east: { kind: switch }",
  "  tower: { kind: host }",
  ...hosts.map((host) => `  ${host}: { kind: host }`),
  "links:",
  "  - core:1 -- east:24",
  "  - core:2 -- tower:eth0",
  ...hosts.map((host, i) => `  - ${i < 5 ? "east" : "core"}:${i + 10} -- ${host}:eth0`),
  "",
].join("\n");
const scenario = [
  "scenario: night",
  "hold: 10 min",
  "streams:",
  "  - { name: wall, source: tower, group: 239.195.20.1, copies: 10, rate: 100 kbit/s, payload: 1250 B }",
  "timeline:",
  `  - { at: 0s, join: wall, agents: [${hosts.join(", ")}] }`,
  "  - { at: 0s, emit: wall }",
  `  - { at: ${SECONDS - 1}s, stop: wall }`,
  "",
].join("\n");
const graph = loadSitePlan(plan, "plan.yaml");
const request = { site: { file: "plan.yaml", text: plan }, scenario: { file: "night.yaml", text: scenario } };
const run = compileScenario(RUN, loadScenario(scenario, "night.yaml").scenario, graph, new Map());

const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-night-"));
const sizeOf = () => readdirSync(folder).reduce((sum, name) => sum + statSync(path.join(folder, name)).size, 0);
const startedMs = Date.UTC(2026, 0, 1, 20);
try {
  const store = await openStore({ kind: "folder", folder });
  const facts = { site: graph.name, scenario: "night", request, endNs: run.endNs, startAtMs: null };
  await store.runs.add({ runId: RUN, ...facts, programVersion: "bench", owner: "bench" });
  await store.runs.started(RUN, { wallMs: startedMs, controllerNs: 0, bootId: "bench" }, packCompiledRun(run));
  const listeners = hosts.map(() =>
    Array.from({ length: STREAMS }, (_, i) => new SimulatedListener(i + 1, PACKETS_PER_SECOND)),
  );
  // Every full hour the way to the east loses 40 packets of each stream; now and then a single packet is lost anywhere.
  const isLost = (agent, stream, second) => (seq) =>
    (agent < 5 && second % 3600 < 4 && second >= 3600) || (seq * 31 + agent * 17 + stream * 7) % 200_003 === 0;
  const beganMs = performance.now();
  let largest = 0;
  for (let second = 0; second < SECONDS; second++) {
    const batch = hosts.map((agent, a) => {
      const entries = listeners[a].map((listener, s) => listener.second(second, isLost(a, s, second)));
      const body = reportOf(second, entries);
      return {
        runId: RUN,
        agent,
        stint: "00000000000000cc",
        firstNumber: second + 1,
        lastNumber: second + 1,
        droppedReports: 0,
        isFinal: second === SECONDS - 1,
        fromNs: body.report.fromNs,
        toNs: body.report.toNs,
        packed: packBody(body),
        minutes: countMinutes(body),
        episodes: noteEpisodes(agent, body),
      };
    });
    await store.reports.keep(batch);
    if (second % 60 === 59) await rollUpRun(store, RUN, (second + 1) * 1e9, DEFAULT_RETENTION);
    if (second % 1800 === 1799) {
      largest = Math.max(largest, sizeOf());
      const done = (performance.now() - beganMs) / 1000;
      console.log(
        `${((second + 1) / 3600).toFixed(1)} h of ${options.hours} h after ${done.toFixed(0)} s, ${(sizeOf() / 1e6).toFixed(0)} MB`,
      );
    }
  }
  const simulatedS = (performance.now() - beganMs) / 1000;
  const record = await store.runs.get(RUN);
  const times = [];
  let night;
  for (let i = 0; i < 5; i++) {
    const from = performance.now();
    night = await summariseNight(store, record, startedMs + SECONDS * 1000);
    times.push(performance.now() - from);
  }
  console.log(renderNight(night, (text) => text));
  const truth = listeners.flat();
  const received = truth.reduce((sum, one) => sum + one.received, 0);
  const lost = truth.reduce((sum, one) => sum + one.lost, 0);
  const stretches = (await accountStretches(store, run)).filter((one) => one.role === "listener");
  const kept = {
    received: stretches.reduce((sum, one) => sum + one.received, 0),
    // What is still within the reorder window is not judged yet, so a loss in the last second may be missing.
    lost: stretches.reduce((sum, one) => sum + one.lost, 0),
  };
  const need = diskNeed(run, DEFAULT_RETENTION);
  const result = {
    hours: Number(options.hours),
    agents: AGENTS,
    streams: STREAMS,
    reports: SECONDS * AGENTS,
    simulatedS: Math.round(simulatedS),
    fasterThanRealTime: Math.round(SECONDS / simulatedS),
    diskMb: Math.round(sizeOf() / 1e6),
    largestMb: Math.round(largest / 1e6),
    neededMbAsSaidBefore: Math.round(need.controllerBytes / 1e6),
    summaryMs: { first: Math.round(times[0]), worst: Math.round(Math.max(...times)) },
    packets: { received, lost },
    inStore: { minutes: { received: night.received, lost: night.lost }, reports: kept },
    isExact:
      night.received === received &&
      kept.received === received &&
      Math.abs(kept.lost - lost) <= truth.length &&
      night.lost === kept.lost,
  };
  console.log(JSON.stringify(result, null, 2));
  if (options.json !== undefined) writeFileSync(options.json, `${JSON.stringify(result, null, 2)}\n`);
  await store.close();
  if (!result.isExact) process.exitCode = 1;
} finally {
  rmSync(folder, { recursive: true, force: true });
}
