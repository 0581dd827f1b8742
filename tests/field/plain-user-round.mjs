// Raises a site, uses it, puts a fault in and takes it out, and prints what came of it: to be run as a plain user.
import { createServer } from "node:http";
import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import { execInPracticeSite, findPracticeSites, loadPracticeFaults, raisePracticeSite } from "@dyetrace/practice";
import { loadSitePlan } from "@dyetrace/site";

const GROUP = "239.195.77.5";
const script = (name) => fileURLToPath(new URL(name, import.meta.url));
const plan = loadSitePlan(
  `site: Plain
nodes: { core: { kind: switch }, edge: { kind: switch }, tower: { kind: host }, kiosk: { kind: host } }
links: [core:1 -- edge:1, core:2 -- tower:eth0, edge:2 -- kiosk:eth0]`,
  "plan",
);
const site = await raisePracticeSite(plan);

let received = 0;
let hasJoined = false;
await site.spawn("kiosk", [process.execPath, script("group-listener.mjs"), GROUP, site.addressOf("kiosk").ipv4], {
  onLine: (line) => {
    if (line === "joined") hasJoined = true;
    else received++;
  },
});
while (!hasJoined) await sleep(10);
await sleep(150);

async function round() {
  received = 0;
  const argv = [script("group-source.mjs"), GROUP, site.addressOf("tower").ipv4, "20", "5", "200"];
  const source = await site.spawn("tower", [process.execPath, ...argv]);
  await source.exit;
  await sleep(150);
  return received;
}

const healthy = await round();
const faults = loadPracticeFaults(`faults: [{ fault: drop, on: "core:1>edge:1", group: ${GROUP} }]`, "faults", plan);
await site.inject(faults);
const faulty = await round();
await site.lift(faults);
const lifted = await round();

const http = createServer((_, response) => response.end("hello"));
http.listen(site.managementServer);
const ask = `fetch("${site.managementUrl}/").then((r) => r.text()).then((t) => process.stdout.write(t))`;
const { stdout: management } = await site.exec("kiosk", [process.execPath, "-e", ask]);

const standing = findPracticeSites().find(({ id }) => id === site.id);
const exec = await execInPracticeSite(standing, "edge", ["sh", "-c", "exit 5"]);
process.stdout.write(
  `${JSON.stringify({ isRoot: process.getuid() === 0, healthy, faulty, lifted, management, exec })}\n`,
);
http.close();
http.closeAllConnections();
await site.close();
