/**
 * The part of several agents that keeps their credentials and their links, as a process that a test can kill. Each takes its own
 * time to answer, so that a kill finds them at different moments. Arguments: a folder with a data folder for each, a hello.
 */
import { randomBytes } from "node:crypto";
import { readdirSync } from "node:fs";
import path from "node:path";
import { pino } from "pino";
import { ControllerLink } from "../../agent/dist/control/controller-link.js";
import { readCredential } from "../../agent/dist/control/credential-file.js";
import { HostKeys } from "../../agent/dist/control/host-keys.js";

const LONGEST_MS = 10;
const [hosts = "", helloText = "{}"] = process.argv.slice(2);
const log = pino({ level: "silent" });
for (const name of readdirSync(hosts)) {
  const folder = path.join(hosts, name);
  const { controller: url, credential, previous = null } = readCredential(folder);
  const keys = new HostKeys(folder, credential, previous);
  const instance = randomBytes(8).toString("hex");
  const link = new ControllerLink({
    controllers: [{ url, pin: null }],
    log,
    hello: () => ({ ...JSON.parse(helloText), name, key: keys.key, instance }),
    hasOtherKey: () => keys.nextKey(),
  });
  const renew = ({ credential: next, until }) => {
    keys.renew(next, until);
    process.stdout.write(`renewed ${name}\n`);
    const answer = { kind: "credential-answer", id: next.split(".")[0], isKept: true, message: "" };
    setTimeout(() => link.send(answer), Math.random() * LONGEST_MS);
  };
  link.on("up", () => {
    keys.welcomed();
    process.stdout.write(`up ${name}\n`);
  });
  link.on("message", (message) => {
    if (message.kind === "credential") setTimeout(() => renew(message), Math.random() * LONGEST_MS);
  });
  link.on("turnedAway", ({ code }) => process.stdout.write(`turned away ${name} ${code}\n`));
}
