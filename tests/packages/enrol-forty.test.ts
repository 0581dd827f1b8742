import { type PracticeSite, raisePracticeSite } from "@dyetrace/practice";
import { afterAll, beforeAll, expect, test } from "vitest";
import { siteOf } from "../field/group-traffic.ts";
import { raiseFreshHost } from "../field/support/fresh-host.ts";
import { type GuardedController, startGuardedController } from "../field/support/guarded-controller.ts";
import { AgentPackage } from "../field/support/pack-agent.ts";

/** By hand (`npm run enrol:forty`): forty agents take 3 GB, which the suite beside other tests has not. */
const HOSTS = Array.from({ length: 40 }, (_, index) => `kiosk-${index + 1}`);
const WITHIN_MS = 120_000;
const AT_A_TIME = 8;

const PLAN = siteOf(
  Object.fromEntries([["core", "switch*"], ["office", "host"], ...HOSTS.map((name) => [name, "host"])]),
  ["core:100 -- office:eth0", ...HOSTS.map((name, index) => `core:${index + 1} -- ${name}:eth0`)],
);

let agentPackage: AgentPackage;
let site: PracticeSite;
let controller: GuardedController;
beforeAll(async () => {
  agentPackage = new AgentPackage();
  site = await raisePracticeSite(PLAN);
  controller = await startGuardedController(site, "office", agentPackage.dist);
});
afterAll(async () => {
  await controller?.[Symbol.asyncDispose]();
  await site?.close();
  agentPackage?.[Symbol.dispose]();
});

test("one line: given forty fresh hosts and a key for forty, then all are connected under their own names within two minutes, and a forty-first is refused", async () => {
  const many = { hosts: HOSTS.length, lastsMs: 3600e3 };
  const answer = await controller.ask("POST", "/api/enrolled", { many, interface: "eth0" });
  const { line } = JSON.parse(answer.body) as { line: string };
  const hosts = await Promise.all(HOSTS.map((name) => raiseFreshHost(site, name)));
  const beganMs = performance.now();
  const waiting = HOSTS.map((name, index) => ({ name, host: hosts[index] }));
  const paste = async (): Promise<void> => {
    for (let next = waiting.shift(); next !== undefined; next = waiting.shift()) {
      const said = await next.host?.shell(
        `exec unshare --uts sh -c 'hostname ${next.name}.example; ${line.replaceAll("'", "'\\''")}'`,
      );
      expect([next.name, said?.code, said?.stderr]).toEqual([next.name, 0, ""]);
    }
  };
  await Promise.all(Array.from({ length: AT_A_TIME }, paste));
  await expect
    .poll(async () => (await controller.agents()).length, { timeout: WITHIN_MS, interval: 500 })
    .toBe(HOSTS.length);
  const tookMs = performance.now() - beganMs;
  process.stderr.write(`forty hosts from the first paste to all connected: ${(tookMs / 1000).toFixed(1)} s\n`);
  expect((await controller.agents()).toSorted()).toEqual(HOSTS.toSorted());
  const late = await hosts[0]?.shell(line);
  expect(late?.stderr).toMatch(/was used already/);
  expect(tookMs).toBeLessThan(WITHIN_MS);
}, 600_000);
