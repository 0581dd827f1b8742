import { readFileSync } from "node:fs";
import path from "node:path";
import { type PracticeSite, raisePracticeSite } from "@dyetrace/practice";
import { UpgradeAnswerSchema } from "@dyetrace/wire/console/console-agent";
import { Value } from "typebox/value";
import { afterAll, beforeAll, expect, test } from "vitest";
import { siteOf } from "./group-traffic.ts";
import { type FreshHost, raiseFreshHost } from "./support/fresh-host.ts";
import { type GuardedController, startGuardedController } from "./support/guarded-controller.ts";
import { AgentPackage } from "./support/pack-agent.ts";

/** A host comes in by the pasted line, as a person would paste it: on hosts of a practice site, each with a root folder of its own. */
const PLAN = siteOf({ core: "switch*", office: "host", kiosk: "host", stand: "host" }, [
  "core:1 -- office:eth0",
  "core:2 -- kiosk:eth0",
  "core:3 -- stand:eth0",
]);

let agentPackage: AgentPackage;
let site: PracticeSite;
let controller: GuardedController;
let kiosk: FreshHost;
let stand: FreshHost;
let line = "";

beforeAll(async () => {
  agentPackage = new AgentPackage();
  site = await raisePracticeSite(PLAN);
  controller = await startGuardedController(site, "office", agentPackage.dist);
  kiosk = await raiseFreshHost(site, "kiosk");
  stand = await raiseFreshHost(site, "stand");
});
afterAll(async () => {
  await controller?.[Symbol.asyncDispose]();
  await site?.close();
  agentPackage?.[Symbol.dispose]();
});

const makeLine = async (name: string, node: string): Promise<string> => {
  const body = { name, interface: site.addressOf(node).interfaceName };
  const { status, body: answer } = await controller.ask("POST", "/api/enrolled", body);
  expect(status).toBe(200);
  return (JSON.parse(answer) as { line: string }).line;
};
const withWrongPin = (text: string): string =>
  text.replaceAll(controller.pin, `sha256//${Buffer.alloc(32, 7).toString("base64")}`);

test("enrolment: given nobody who signed in, or one who may look, then no key is made", async () => {
  expect((await controller.ask("POST", "/api/enrolled", { name: "kiosk" }, null)).status).toBe(401);
  expect((await controller.ask("POST", "/api/enrolled", { name: "kiosk" }, "view")).status).toBe(403);
  expect((await controller.ask("GET", "/api/agents", undefined, null)).status).toBe(401);
  expect((await controller.ask("GET", "/api/agents", undefined, "view")).status).toBe(200);
});

test("the pasted line: given a wrong fingerprint, then nothing is run and nothing installed", async () => {
  line = await makeLine("kiosk", "kiosk");
  const { code, stderr } = await kiosk.shell(withWrongPin(line));
  expect(stderr).toMatch(/pinned/i); // curl's own words
  expect(code).not.toBe(0);
  expect((await kiosk.shell("ls -d /opt/dyetrace-agent /var/lib/dyetrace-agent")).code).not.toBe(0);
});

test("the pasted line: given a fresh host, then its agent is connected, as a user of its own with CAP_NET_RAW and nothing else, and says what it cannot do", async () => {
  const began = performance.now();
  const { code, stdout, stderr } = await kiosk.shell(line);
  expect([code, stderr]).toEqual([0, ""]);
  expect(stdout).toContain("Enrolled at");
  await expect.poll(() => controller.agents(), { timeout: 60_000 }).toContain("kiosk");
  process.stderr.write(`from the pasted line to a connected agent: ${Math.round(performance.now() - began)} ms\n`);
  const status = await kiosk.shell('cat "/proc/$(pgrep -r R,S,D -u dyetrace node | head -1)/status"');
  // proc(5): Uid real, effective, saved, file system; capabilities as bit masks. CAP_NET_RAW is 13 in linux/capability.h.
  expect(status.stdout).toMatch(/^Uid:\t(?!0\t)([0-9]+)\t\1\t\1\t\1$/m);
  for (const set of ["CapInh", "CapPrm", "CapEff", "CapBnd", "CapAmb"]) {
    expect(status.stdout).toMatch(new RegExp(`^${set}:\t0000000000002000$`, "m"));
  }
  expect(status.stdout).toMatch(/^NoNewPrivs:\t1$/m);
  const [agent] = JSON.parse((await controller.ask("GET", "/api/agents")).body) as [
    { lacks: string[]; capabilities: { watcher: boolean; guards: { allowSending: boolean } } },
  ];
  expect(agent.capabilities.watcher).toBe(true);
  expect(agent.capabilities.guards.allowSending).toBe(false);
  expect(agent.lacks.map((sentence) => /\(no (CAP_[A-Z_]+)\)$/.exec(sentence)?.[1]).sort()).toEqual([
    "CAP_NET_ADMIN",
    "CAP_SYS_NICE",
  ]);
});

test("credentials: given an enrolled agent, then the controller keeps no secret in clear, and the host keeps its own for its agent alone", async () => {
  const kept = readFileSync(path.join(controller.folder, "access.json"), "utf8");
  const own = JSON.parse((await kiosk.shell("cat /var/lib/dyetrace-agent/controller.json")).stdout) as {
    credential: string;
  };
  const [id = "", secret = ""] = own.credential.split(".");
  expect(kept).toContain(id);
  expect(kept).not.toContain(secret);
  expect((await kiosk.shell("stat -c '%a %U' /var/lib/dyetrace-agent/controller.json")).stdout).toBe("600 dyetrace\n");
  for (const password of ["operate", "view"]) expect(kept).toContain(`"name": "${password}"`);
  expect(kept).toMatch(/"password": "scrypt:32768:8:1:/);
});

test("the pasted line: given a key that was used, then another host with the same line is refused in a sentence", async () => {
  const { code, stderr } = await stand.shell(line);
  expect(code).not.toBe(0);
  expect(stderr).toMatch(/was used already/);
  expect(await controller.agents()).toEqual(["kiosk"]);
});

test("enrol: given a controller whose certificate has another key than the pinned one, then the agent tells nobody its key", async () => {
  const agent = "node /opt/dyetrace-agent/agent/bin/dyetrace-agent.mjs";
  const pin = `sha256//${Buffer.alloc(32, 7).toString("base64")}`;
  const { code, stderr } = await kiosk.shell(
    `${agent} enrol --controller ${controller.url} --pin ${pin} --key enrol-0 --data /tmp/other`,
  );
  expect(code).toBe(2);
  expect(stderr).toMatch(/certificate has the key .* not sha256/);
});

test("credentials: given an order to exchange it, then the agent has another one on its disk while it stays connected, and comes back with that", async () => {
  const read = async (): Promise<{ credential: string; previous?: string; until?: string }> =>
    JSON.parse((await kiosk.shell("cat /var/lib/dyetrace-agent/controller.json")).stdout);
  const before = await read();
  expect((await controller.ask("POST", "/api/enrolled/rotate", { name: "kiosk" })).status).toBe(200);
  await expect.poll(read).toMatchObject({ previous: before.credential });
  expect((await read()).credential).not.toBe(before.credential);
  expect(await controller.agents()).toEqual(["kiosk"]);
  const welcomes = async (): Promise<number> =>
    (await kiosk.shell("cat /var/log/dyetrace-agent.log")).stdout.split('"connected"').length;
  const soFar = await welcomes();
  await restartAgent();
  await expect.poll(welcomes, { timeout: 60_000 }).toBe(soFar + 1);
  expect(await controller.agents()).toEqual(["kiosk"]);
  const { body } = await controller.ask("GET", "/api/enrolled");
  expect(JSON.parse(body)).toMatchObject([{ name: "kiosk", isRenewalDue: false, hasEnded: false, trouble: null }]);
});

const restartAgent = (): Promise<unknown> =>
  kiosk.shell(
    `kill "$(cat /run/dyetrace-agent.pid)"; cd /; setsid /opt/dyetrace-agent/agent/deploy/run-without-systemd.sh </dev/null >>/var/log/dyetrace-agent.log 2>&1 & echo $! >/run/dyetrace-agent.pid`,
  );
const versionOf = async (): Promise<unknown> => {
  const all = JSON.parse((await controller.ask("GET", "/api/agents")).body) as { name: string; version: string }[];
  return all.find(({ name }) => name === "kiosk")?.version ?? null;
};

test("upgrading from the console: given a host that does not allow it, or a package that a stranger signed, that was changed since, or that is older, then it is refused in a sentence; else the agent comes back as the new version", async () => {
  agentPackage.packAs("7.7.7");
  const refused = await controller.ask("POST", "/api/agents/kiosk/upgrade", {});
  expect([refused.status, JSON.parse(refused.body)]).toMatchObject([400, { code: "UPGRADE_REFUSED" }]);
  const key = agentPackage.publicKey.replaceAll("/", "\\/");
  await kiosk.shell(
    `sed -i 's/^allow-upgrade: false/allow-upgrade: true/; s/^#upgrade-keys: .*/upgrade-keys: ["${key}"]/' /etc/dyetrace/agent.yaml`,
  );
  await restartAgent();
  const ready = async (): Promise<boolean> =>
    (await controller.ask("GET", "/api/agents")).body.includes('"allowsUpgrade":true');
  await expect.poll(ready, { timeout: 60_000 }).toBe(true);
  const isRefused = async (why: string): Promise<void> => {
    const answer = await controller.ask("POST", "/api/agents/kiosk/upgrade", {});
    expect([answer.status, answer.body]).toEqual([400, expect.stringContaining(why)]);
  };
  // Signed as 0.1.0 and packed anew since: what the maintainer signed is what counts.
  await isRefused("is not the one that was signed");
  agentPackage.signAsStranger();
  await isRefused("was not signed with a key that this host");
  agentPackage.sign();
  agentPackage.changeOneByte();
  await isRefused("is not the one that was signed");
  agentPackage.changeOneByte();
  const began = performance.now();
  const { status, body } = await controller.ask("POST", "/api/agents/kiosk/upgrade", {});
  expect([status, body]).toEqual([200, expect.stringContaining("7.7.7")]);
  expect(Value.Errors(UpgradeAnswerSchema, JSON.parse(body))).toEqual([]);
  await expect.poll(versionOf, { timeout: 60_000 }).toBe("7.7.7");
  process.stderr.write(`from the upgrade to the new version: ${Math.round(performance.now() - began)} ms\n`);
  // It stays so after a restart of its own, and root's own program is untouched.
  await restartAgent();
  await expect.poll(versionOf, { timeout: 60_000 }).toBe("7.7.7");
  agentPackage.packAs("7.7.6");
  agentPackage.sign();
  await isRefused("older than 7.7.7");
  expect(await versionOf()).toBe("7.7.7");
  const own = await kiosk.shell("node /opt/dyetrace-agent/agent/bin/dyetrace-agent.mjs --version");
  expect(own.stdout).not.toContain("7.7.7");
});

test("the pasted line once more: given links that the agent's own user laid in its folder, then root writes nowhere through them, and the agent is connected", async () => {
  await kiosk.shell("mkdir /etc/others && echo theirs >/etc/others/file && cp -a /etc/others/file /etc/other");
  const names = ["agent.pid", "agent.log", "dyetrace-agent.pid", "dyetrace-agent.log", "new", "old", "x"].join(" ");
  const laid = await kiosk.shell(
    `cd /var/lib/dyetrace-agent && exec setpriv --reuid dyetrace --clear-groups sh -ec 'rm -rf program; ln -s /etc/others program; for name in ${names}; do ln -s /etc/other $name; done; ls -l'`,
  );
  expect([laid.code, laid.stdout]).toEqual([0, expect.stringContaining("program -> /etc/others")]);
  const { code, stderr } = await kiosk.shell(await makeLine("kiosk", "kiosk"));
  expect([code, stderr]).toEqual([0, ""]);
  await expect.poll(() => controller.agents(), { timeout: 60_000 }).toContain("kiosk");
  const { stdout } = await kiosk.shell(
    "stat -c '%U %a %n' /etc/other /etc/others /etc/others/file; cat /etc/other /etc/others/file",
  );
  expect(stdout).toBe("root 644 /etc/other\nroot 755 /etc/others\nroot 644 /etc/others/file\ntheirs\ntheirs\n");
});

test("revoking: given a connected agent, then it is out within 5 s and does not come back", async () => {
  const began = performance.now();
  expect((await controller.ask("DELETE", "/api/enrolled/kiosk")).status).toBe(200);
  await expect.poll(() => controller.agents(), { timeout: 5000, interval: 50 }).toEqual([]);
  process.stderr.write(`from revoking to gone: ${Math.round(performance.now() - began)} ms\n`);
  await expect
    .poll(async () => (await kiosk.shell("pgrep -r R,S,D -u dyetrace node")).stdout, { timeout: 20_000 })
    .toBe("");
  expect((await kiosk.shell("cat /var/log/dyetrace-agent.log")).stdout).toMatch(/was revoked/);
  expect(await controller.agents()).toEqual([]);
});

test("packing: given the same commit, then another folder gets the same bytes, and what is inside is listed beside it", () => {
  using again = new AgentPackage();
  const first = agentPackage.packedSha256;
  expect(again.sha256).toBe(first);
  const bill = JSON.parse(readFileSync(path.join(again.dist, "dyetrace-agent.tgz.cdx.json"), "utf8")) as {
    bomFormat: string;
    specVersion: string;
    components: { name: string; purl: string; hashes: object[] }[];
  };
  // CycloneDX 1.6 (ECMA-424), required fields; from memory.
  expect(bill).toMatchObject({ bomFormat: "CycloneDX", specVersion: "1.6" });
  expect(bill.components.map(({ name }) => name)).toEqual(expect.arrayContaining(["koffi", "typebox", "ws", "yaml"]));
  for (const { purl, hashes } of bill.components)
    expect([purl, hashes.length]).toEqual([expect.stringMatching(/^pkg:npm\//), 1]);
});

test("audit log: given all this, then it says who did what, refusals too", async () => {
  const { body } = await controller.ask("GET", "/api/audit", undefined, "view");
  const entries = (JSON.parse(body) as { who: string; what: string }[]).map(({ who, what }) => `${who} ${what}`);
  for (const expected of [
    /^operate signed in$/,
    /^operate made a key to enrol "kiosk"$/,
    /^view made a key to enrol an agent, refused: view may look, not operate$/,
    /^agent kiosk enrolled$/,
    /^nobody was refused when it enrolled/,
    /^operate upgraded agent kiosk$/,
    /^operate revoked agent kiosk$/,
  ]) {
    expect(entries).toContainEqual(expect.stringMatching(expected));
  }
});
