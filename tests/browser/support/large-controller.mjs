/**
 * A controller of a practice site as a process of its own: what a hundred scripted agents tell it keeps it busy, and a test
 * that drives a browser from the same process would wait for it. Arguments: the plan's file, the agents' key. It writes its
 * address, and ends with its standard input, that is: with the test at the latest.
 */
import { readFileSync } from "node:fs";
import { startController } from "@dyetrace/controller";
import { pino } from "pino";

const [file = "", agentKey = ""] = process.argv.slice(2);
const controller = await startController({
  host: "127.0.0.1",
  port: 0,
  agentKey,
  plan: { file, text: readFileSync(file, "utf8") },
  isPractice: true,
  log: pino({ level: "error" }, pino.destination(2)),
});
process.stdout.write(`${controller.url}\n`);
process.stdin.on("end", () => process.exit(0)).resume();
