/**
 * A controller as a process of its own, that a test can kill: the service without the ramp of a live site, on a store
 * that outlasts it. Arguments: data folder, port, agents' key. With DYETRACE_TEST_LIVE=1 it takes the site for a live one, with
 * a short look and short steps of the ramp.
 */
import { pino } from "pino";
import { startController } from "../../controller/dist/bundle/controller-service.js";
import { openStore } from "../../controller/dist/bundle/store.js";

const [folder = "", port = "0", agentKey = ""] = process.argv.slice(2);
const isLive = process.env.DYETRACE_TEST_LIVE === "1";
const store = await openStore({ kind: "folder", folder });
const controller = await startController({
  host: "127.0.0.1",
  port: Number(port),
  agentKey,
  store,
  safety: { isLive, lookNs: 1e9, secondLookNs: 0, rampStepNs: isLive ? 1e9 : 0 },
  log: pino({ level: process.env.DYETRACE_LOG ?? "error" }, pino.destination(2)),
});
process.stdout.write(`${controller.url}\n`);
