/** A controller as a process of its own for `crowd.bench.mjs`, with one run in its store. Arguments: folder, key, run id, and the address of a database, or none. */
import { readdirSync, statSync } from "node:fs";
import path from "node:path";
import pg from "pg";
import { pino } from "pino";
import { startController } from "../../../controller/dist/bundle/controller-service.js";
import { openStore } from "../../../controller/dist/bundle/store.js";

const [folder, agentKey, runId, url = ""] = process.argv.slice(2);
const store = await openStore(url === "" ? { kind: "folder", folder } : { kind: "postgres", url });
const file = { file: "bench.yaml", text: "" };
const facts = {
  site: "bench",
  scenario: "bench",
  request: { site: file, scenario: file },
  endNs: 3600e9,
  startAtMs: null,
};
if ((await store.runs.find(runId)) === null) {
  await store.runs.add({ runId, ...facts, programVersion: "bench", owner: "bench" });
}
const controller = await startController({
  host: "127.0.0.1",
  port: 0,
  agentKey,
  store,
  log: pino({ level: "error" }, pino.destination(2)),
});
process.stdout.write(`${controller.url}\n`);
process.on("message", async () => {
  let [kept, received] = [0, 0];
  for (const { keptNumber } of await store.reports.stints(runId)) kept += keptNumber;
  for (const { received: one } of await store.reports.minutes(runId)) received += one;
  const bytes = url === "" ? sizeOf(folder) : await databaseBytes();
  process.send({ bytes, kept, received, cpu: process.cpuUsage(), memory: process.memoryUsage().rss });
});

const sizeOf = (of) => readdirSync(of).reduce((sum, name) => sum + statSync(path.join(of, name)).size, 0);

async function databaseBytes() {
  const client = new pg.Client({ connectionString: url });
  await client.connect();
  const { rows } = await client.query("select pg_database_size(current_database()) as bytes");
  await client.end();
  return Number(rows[0].bytes);
}
