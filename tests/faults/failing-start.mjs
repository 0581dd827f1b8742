/**
 * A controller whose start fails at one step, on a store with a run that goes on and one that waits for its time. It
 * prints why, and what still keeps the process alive; then it has to end by itself. Arguments: data folder, step.
 */
import { once } from "node:events";
import { writeFileSync } from "node:fs";
import { createServer } from "node:net";
import path from "node:path";
import { loadSitePlan } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import { pino } from "pino";
import { compileScenario } from "../../controller/dist/plan/compile-scenario.js";
import { packCompiledRun } from "../../controller/dist/plan/compiled-run-json.js";
import { PRACTICE_SAFETY } from "../../controller/dist/plan/safety.js";
import { controllerStart } from "../../controller/dist/runs/controller-boot.js";
import { startController } from "../../controller/dist/service/controller-service.js";
import { openStore } from "../../controller/dist/store/store.js";

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
  - { at: 10min, stop: board }
`;
const [folder = "", step = ""] = process.argv.slice(2);
const request = { site: { file: "plan.yaml", text: PLAN }, scenario: { file: "reach.yaml", text: SCENARIO } };

async function keep(store, runId, startAtMs) {
  const about = { runId, site: "Quillfen", scenario: "reach", request, endNs: 600e9, startAtMs };
  await store.runs.add({ ...about, programVersion: "0.1.0", owner: "gone" });
}

const store = await openStore({ kind: "folder", folder });
const [goesOn, waits] = ["00000000000000aa", "00000000000000bb"];
const graph = loadSitePlan(PLAN, "plan.yaml");
const { scenario } = loadScenario(SCENARIO, "reach.yaml", { parameters: {} });
const run = compileScenario(goesOn, scenario, graph, new Map());
await keep(store, goesOn, null);
await store.runs.started(goesOn, controllerStart(Number(process.hrtime.bigint()), new Date()), packCompiledRun(run));
await keep(store, waits, Date.now() + 3600e3);

const taken = createServer().listen(0, "127.0.0.1");
await once(taken, "listening");
if (step === "access") writeFileSync(path.join(folder, "access.json"), "{");
let looks = 0;
const unfinished = store.runs.unfinished.bind(store.runs);
store.runs.unfinished = () => {
  looks++;
  const isNow = (step === "pick-up" && looks === 1) || (step === "schedule" && looks === 2);
  return isNow ? Promise.reject(new Error("the disk is gone")) : unfinished();
};
const options = {
  host: "127.0.0.1",
  port: step === "port" ? taken.address().port : 0,
  agentKey: "key",
  store,
  dataFolder: folder,
  safety: PRACTICE_SAFETY,
  log: pino({ level: "error" }, pino.destination(2)),
  ...(step === "plan" ? { plan: { file: "plan.yaml", text: "site: [" } } : {}),
};
let failure = null;
try {
  const controller = await startController(options, () => {
    if (step === "routes") throw new Error("a route that cannot be");
  });
  await controller.close();
  await controller.close();
} catch (error) {
  failure = error.code ?? error.message;
}
taken.close();
const states = [(await store.runs.get(goesOn)).state, (await store.runs.get(waits)).state];
await store.close();
process.stdout.write(JSON.stringify({ failure, states, looks }));
