/**
 * One of several controllers on a PostgreSQL database, as a process of its own that a test can kill. Arguments: the database's
 * address, port, agents' key, and what sign-in needs where it is asked for (`sign-in`, with a data folder).
 */
import { pino } from "pino";
import { startController } from "../../controller/dist/bundle/controller-service.js";
import { openStore } from "../../controller/dist/bundle/store.js";

const [url = "", port = "0", agentKey = "", signIn = "", dataFolder = ""] = process.argv.slice(2);
const store = await openStore({ kind: "postgres", url });
const controller = await startController({
  host: "127.0.0.1",
  port: Number(port),
  ...(signIn === "sign-in" ? { isSignInNeeded: true } : { agentKey }),
  ...(dataFolder === "" ? {} : { dataFolder }),
  store,
  safety: { isLive: false, lookNs: 1e9, secondLookNs: 0, rampStepNs: 0 },
  log: pino({ level: process.env.DYETRACE_LOG ?? "error" }, pino.destination(2)),
});
process.stdout.write(`${controller.url}\n`);
