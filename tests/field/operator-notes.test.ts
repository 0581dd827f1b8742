import { readFileSync } from "node:fs";
import { type PracticeSite, raisePracticeSite } from "@dyetrace/practice";
import { afterAll, beforeAll, expect, test } from "vitest";
import { siteOf } from "./group-traffic.ts";
import { type FreshHost, raiseFreshHost } from "./support/fresh-host.ts";
import { AgentPackage } from "./support/pack-agent.ts";

/**
 * Follows deploy/operator-notes.md to the letter: its commands, in its order, on fresh hosts without systemd. Left out are
 * `build` (these hosts have no internet; the tests themselves run what it builds) and `systemd`.
 */
const NOTES = readFileSync(new URL("../../deploy/operator-notes.md", import.meta.url), "utf8");

let agentPackage: AgentPackage;
let site: PracticeSite;
let office: FreshHost;
let kiosk: FreshHost;
let address = "";
let password = "";
let pin = "";
let token = "";

/** The commands of one block, with this site's address and interface for those of the notes. */
function block(name: string): string {
  const text = new RegExp(`\`\`\`sh ${name}\\n([\\s\\S]*?)\`\`\``).exec(NOTES)?.[1];
  if (text === undefined) throw new Error(`The notes have no block ${name}`);
  const { interfaceName } = site.addressOf("kiosk");
  return text.replaceAll("192.0.2.1:", `${address}:`).replaceAll("eth0", interfaceName);
}

async function follow(host: FreshHost, name: string): Promise<string> {
  const { code, stdout, stderr } = await host.shell(`set -e\n${block(name)}`);
  expect([name, code, stderr.replace(/.* may now sign in.*\n/, "")]).toEqual([name, 0, ""]);
  return stdout;
}

beforeAll(async () => {
  agentPackage = new AgentPackage();
  const plan = siteOf({ core: "switch*", office: "host", kiosk: "host" }, [
    "core:1 -- office:eth0",
    "core:2 -- kiosk:eth0",
  ]);
  site = await raisePracticeSite(plan);
  address = site.addressOf("office").ipv4;
  office = await raiseFreshHost(site, "office", agentPackage.dist);
  kiosk = await raiseFreshHost(site, "kiosk");
});
afterAll(async () => {
  await site?.close();
  agentPackage?.[Symbol.dispose]();
});

const startController = async (): Promise<void> => {
  const line = block("controller-without-systemd").trim();
  await office.shell(`cd /; setsid ${line} </dev/null >/tmp/controller.log 2>&1 & echo $! >/tmp/controller.pid`);
  await expect
    .poll(async () => (await office.shell("cat /tmp/controller.log")).stdout, { timeout: 30_000 })
    .toMatch(/sha256\/\/\S+[\s\S]*Operators sign in there/);
  pin = /sha256\/\/\S+/.exec((await office.shell("cat /tmp/controller.log")).stdout)?.[0] ?? "";
};
/** A process that has ended has no program any more, whoever still has to take note of that. */
const stopController = (): Promise<unknown> =>
  office.shell(
    'p=$(cat /tmp/controller.pid); kill "$p"; for i in $(seq 300); do readlink "/proc/$p/exe" >/dev/null || break; sleep 0.1; done',
  );

async function ask(route: string, body?: object): Promise<string> {
  const argv = ["curl", "-sSk", "--pinnedpubkey", pin, `https://${address}:8472${route}`];
  if (token !== "") argv.push("-H", `authorization: Bearer ${token}`);
  if (body !== undefined) argv.push("-H", "content-type: application/json", "-d", JSON.stringify(body));
  const { stdout, stderr, code } = await site.exec("kiosk", argv);
  if (code !== 0) throw new Error(stderr);
  return stdout;
}
const signIn = async (): Promise<void> => {
  token = "";
  token = (JSON.parse(await ask("/api/sign-in", { name: "anna", password })) as { token: string }).token;
};
const agents = async (): Promise<{ name: string; capabilities: { guards: { allowSending: boolean } } }[]> =>
  JSON.parse(await ask("/api/agents"));

test("notes, the controller: given their commands, then it answers with TLS under a user of its own, and the first operator signs in", async () => {
  password = (await follow(office, "controller")).trim();
  expect(password).toMatch(/^[A-Za-z0-9_-]{16}$/);
  await startController();
  await signIn();
  const { stdout } = await office.shell('stat -c %U "/proc/$(cat /tmp/controller.pid)"');
  expect(stdout.trim()).toBe("dyetrace-controller");
});

test("notes, hosts: given the pasted line and the host's own file, then it listens at first, and sends after a restart", async () => {
  const { interfaceName } = site.addressOf("kiosk");
  const { line } = JSON.parse(await ask("/api/enrolled", { name: "kiosk", interface: interfaceName })) as {
    line: string;
  };
  expect(await kiosk.shell(line)).toMatchObject({ code: 0, stderr: "" });
  await expect.poll(agents, { timeout: 60_000 }).toMatchObject([{ capabilities: { guards: { allowSending: false } } }]);
  const file = /```yaml\n# \/etc\/dyetrace\/agent\.yaml\n([\s\S]*?)```/.exec(NOTES)?.[1] ?? "";
  await kiosk.shell(`cat >/etc/dyetrace/agent.yaml <<'END'\n${file.replaceAll("eth0", interfaceName)}END`);
  await follow(kiosk, "agent-restart");
  await expect
    .poll(agents, { timeout: 60_000 })
    .toMatchObject([
      { name: "kiosk", capabilities: { guards: { allowSending: true, allowedGroups: ["239.195.0.0/16"] } } },
    ]);
  const check = await kiosk.shell(block("agent-check"));
  expect(check.stdout).toMatch(/sending: allowed up to 10 Mbit\/s/);
});

test("notes, firewalls: given their rules, then the controller is shut to strangers, open to the site, and a host hears the test and queries", async () => {
  // The practice site's own network stands for the one of the notes.
  const network = `${address.split(".").slice(0, 2).join(".")}.0.0/16`;
  const rules = block("firewall-controller").replace("192.0.2.0/24", network);
  expect(await office.shell(rules)).toMatchObject({ code: 0, stderr: "" });
  expect(await agents()).toHaveLength(1);
  expect(
    (await office.shell("curl -sk --max-time 2 --interface 127.0.0.1 https://127.0.0.1:8472/api/status")).code,
  ).not.toBe(0);
  await office.shell("nft delete table inet dyetrace");
  await kiosk.shell(
    "nft add table inet filter; nft add chain inet filter input '{ type filter hook input priority 0; policy drop; }'",
  );
  await kiosk.shell("nft add rule inet filter input ct state established,related accept");
  const before = await kiosk.shell(block("agent-check"));
  expect(before.stdout).toMatch(/firewall: .*drops/);
  await follow(kiosk, "firewall-host");
  const after = await kiosk.shell(block("agent-check"));
  expect(after.stdout).not.toMatch(/firewall: .*drops what/);
  await kiosk.shell("nft delete table inet filter");
});

test("notes, backup and restore: given a data folder that was lost, then the controller comes back as it was: operators sign in, agents connect", async () => {
  await stopController();
  await follow(office, "backup");
  await office.shell("rm -rf /var/lib/dyetrace");
  await follow(office, "restore");
  await startController();
  await signIn();
  await expect.poll(agents, { timeout: 60_000 }).toMatchObject([{ name: "kiosk" }]);
});

test("notes, stopping: given the command on the controller's machine, then every agent that is connected is told", async () => {
  expect((await office.shell(block("stop-all"))).stdout).toContain("Told to stop: kiosk");
});

test("notes, programs: given a token as they make it, then a scraper that trusts the controller's certificate gets the figures; credentials are listed with their ends", async () => {
  const made = (await office.shell(block("token"))).stdout.trim();
  const scrape = `curl -sS --cacert /var/lib/dyetrace/tls-certificate.pem -H @- https://${address}:8472/metrics`;
  const { stdout } = await office.shell(`echo "authorization: Bearer ${made}" | ${scrape}`);
  expect(stdout).toMatch(/^dyetrace_token_end_timestamp_seconds\{token="prometheus"\} [0-9]{10}/m);
  expect(stdout).toMatch(/^dyetrace_agent_credential_end_timestamp_seconds\{agent="kiosk"\} [0-9]{10}/m);
  expect((await office.shell(block("agents"))).stdout).toMatch(/^kiosk: its credential ends 20/);
});

test("notes, revoking: given the command on the controller's machine, then the host is out within 5 s", async () => {
  await follow(office, "revoke");
  await expect.poll(agents, { timeout: 5000, interval: 100 }).toEqual([]);
});
