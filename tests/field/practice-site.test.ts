import { type ChildProcess, spawn } from "node:child_process";
import { once } from "node:events";
import { existsSync, readdirSync, readFileSync, readlinkSync } from "node:fs";
import { createServer } from "node:http";
import { createInterface } from "node:readline";
import { setTimeout as sleep } from "node:timers/promises";
import {
  chooseStandingSite,
  execInPracticeSite,
  findPracticeSites,
  type PracticeSite,
  type PracticeTimers,
  raisePracticeSite,
} from "@dyetrace/practice";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { countFrames, join, range, send, siteOf } from "./group-traffic.ts";
import { parentOf, sitesOfProcess } from "./support/sites-of-process.ts";

const REPOSITORY = new URL("../..", import.meta.url).pathname;

/** Ready sooner; everything else as by default. */
const timers: Partial<PracticeTimers> = {
  queryResponseIntervalMs: 500,
  membershipIntervalMs: 20_500,
  otherQuerierIntervalMs: 20_250,
};

const SMALL = siteOf(
  {
    core: "switch*",
    edge: "switch",
    hub: "unmanaged",
    ap: "access-point",
    tower: "host",
    kiosk: "host",
    till: "host",
    tablet: "host",
  },
  [
    "core:1 -- edge:24",
    "core:2 -- ap:lan",
    "core:9 -- tower:eth0",
    "edge:1 -- kiosk:eth0",
    "edge:1/0/7 -- hub:1",
    "hub:2 -- till:eth0",
    "ap:radio -- tablet:wlan0",
  ],
);

describe("practice site: a healthy site", () => {
  let site: PracticeSite;
  beforeAll(async () => {
    site = await raisePracticeSite(SMALL, { timers });
  });
  afterAll(() => site.close());

  test.each([
    ["IPv4", "239.195.77.1", "ip"],
    ["IPv6", "ff15::77:1", "ip6"],
  ])(
    "given one member of an %s group, then it gets every packet, nobody else any, and the kernel lists its port",
    async (_, group, family) => {
      await using kiosk = await join(site, "kiosk", group);
      const elsewhere = await Promise.all(
        ["till", "tablet"].map((host) => countFrames(site, host, `${family} daddr ${group}`)),
      );
      await send(site, "tower", { group, packets: 50 });
      expect(kiosk.seqs).toEqual(range(50));
      expect(await Promise.all(elsewhere.map((count) => count()))).toEqual([0, 0]);
      const table = await site.exec("edge", ["bridge", "mdb", "show"]);
      expect(table.stdout).toMatch(new RegExp(`port p1 grp ${group} temp`));
      expect(table.stdout).not.toMatch(new RegExp(`port p1-0-7 grp ${group}`));
    },
  );

  test("given nobody has joined, then a group reaches no host at all, right after the site is ready", async () => {
    const counts = await Promise.all(
      ["kiosk", "till", "tablet"].map((host) => countFrames(site, host, "ip daddr 239.195.77.9")),
    );
    await send(site, "tower", { group: "239.195.77.9", packets: 20 });
    expect(await Promise.all(counts.map((count) => count()))).toEqual([0, 0, 0]);
  });

  test("addressOf: given a host, then it can be reached there on both networks, in both families", async () => {
    const { ipv4, ipv6, interfaceName } = site.addressOf("tablet");
    expect(interfaceName).toBe("wlan0");
    const echo = `const s = require("node:net").createServer((c) => c.end("here")).listen(7777, "::", () => console.log("up"))`;
    const lines: string[] = [];
    const server = await site.spawn("tablet", [process.execPath, "-e", echo], { onLine: (line) => lines.push(line) });
    await expect.poll(() => lines).toEqual(["up"]);
    for (const address of [ipv4, ipv6 ?? "no IPv6"]) {
      const ask = `require("node:net").connect(7777, "${address}").on("data", (d) => console.log(String(d)))`;
      expect((await site.exec("kiosk", [process.execPath, "-e", ask])).stdout).toBe("here\n");
    }
    server.signal("SIGKILL");
    expect(await server.exit).toEqual({ code: null, signal: "SIGKILL" });
  });

  test("managementServer: given an HTTP server of this process, then hosts inside reach it, and the tested network does not carry it", async () => {
    const http = createServer((request, response) => response.end(`from ${request.socket.remoteAddress}`));
    http.listen(site.managementServer);
    // A connection each time: both ends of the handed-over socket must agree on who takes it.
    const ask = `(async () => {
      for (let i = 0; i < 20; i++) {
        await new Promise((done) => require("node:http").get("${site.managementUrl}/", { agent: false }, (response) =>
          response.on("data", (text) => console.log(String(text))).on("end", done)));
      }
    })()`;
    const { stdout } = await site.exec("kiosk", [process.execPath, "-e", ask]);
    expect(stdout).toBe(`from ${site.addressOf("kiosk").management}\n`.repeat(20));
    expect((await site.exec("kiosk", ["ip", "route", "get", "10.254.0.1"])).stdout).toMatch("dev mgmt0");
    expect((await site.exec("edge", ["ip", "route", "get", "10.254.0.1"])).code).not.toBe(0);
  });

  test("exec: given a command that fails, then its code and words come back; given an unknown node, then a Fault", async () => {
    const result = await site.exec("core", ["sh", "-c", "cat; echo no >&2; exit 3"], { stdin: "in" });
    expect(result).toEqual({ code: 3, stdout: "in", stderr: "no\n" });
    expect(() => site.exec("croe", ["true"])).toThrow(expect.objectContaining({ code: "NODE_UNKNOWN" }));
  });

  test("spawn: given SIGSTOP and SIGCONT, then the process stops and goes on", async () => {
    let ticks = 0;
    const clock = await site.spawn("till", [process.execPath, "-e", "setInterval(() => console.log('tick'), 20)"], {
      onLine: () => ticks++,
    });
    await expect.poll(() => ticks).toBeGreaterThan(3);
    clock.signal("SIGSTOP");
    await sleep(100);
    const stoppedAt = ticks;
    await sleep(200);
    expect(ticks).toBe(stoppedAt);
    clock.signal("SIGCONT");
    await expect.poll(() => ticks).toBeGreaterThan(stoppedAt + 3);
    clock.signal("SIGTERM");
    expect((await clock.exit).signal).toBe("SIGTERM");
  });

  test("given a router as querier, then a Fault names it and nothing is built", async () => {
    const plan = siteOf({ core: "switch", gate: "router*", tower: "host" }, [
      "core:1 -- gate:1",
      "core:2 -- tower:eth0",
    ]);
    const fault = await raisePracticeSite(plan, { timers }).catch((error: unknown) => error);
    expect(fault).toMatchObject({ code: "SITE_PLAN_INVALID", message: expect.stringContaining('"gate"') });
  });
});

describe("practice site: nothing is left behind", () => {
  test("given the site is closed, then its processes and namespaces are gone", async () => {
    const site = await raisePracticeSite(SMALL, { timers });
    const inner = await site.spawn("kiosk", ["sleep", "600"]);
    const traces = tracesOf(site.id);
    expect(traces()).toBeGreaterThan(1);
    await site.close();
    expect(await site.closed).toBeNull();
    expect(await inner.exit).toEqual({ code: null, signal: "SIGTERM" });
    await expect.poll(traces).toBe(0);
    expect(strayNames()).toEqual([]);
  });

  test("given an abort while it is being built, then nothing stands", async () => {
    const abort = new AbortController();
    const known = new Set(sitesOfProcess(process.pid).map((standing) => standing.id));
    const raising = raisePracticeSite(SMALL, { timers, signal: abort.signal, log: () => abort.abort() });
    await expect(raising).rejects.toMatchObject({ name: "AbortError" });
    expect(sitesOfProcess(process.pid).filter(({ id }) => !known.has(id))).toEqual([]);
  });

  test.each([
    ["the process that raised it", (outer: number) => outer],
    ["its unshare", (_: number, host: number) => parentOf(host)],
    ["its innermost process", (_: number, host: number) => host],
  ])("given kill -9 of %s, then everything is gone within seconds", async (_, victim) => {
    const outer = startOuter(["--input-type=module", "-e", RAISE_AND_WAIT]);
    const id = await outer.line();
    const host = findPracticeSites().find((standing) => standing.id === id)?.hostPid ?? 0;
    const traces = tracesOf(id);
    expect(traces()).toBeGreaterThan(1);
    const target = victim(outer.child.pid ?? 0, host);
    process.kill(target, "SIGKILL");
    if (target !== outer.child.pid) expect(await outer.line()).toMatch(/^gone: \S/);
    await expect.poll(traces).toBe(0);
    expect(strayNames()).toEqual([]);
    outer.child.kill("SIGKILL");
  });
});

describe("practice site: found and entered from another process", () => {
  test("given two sites at once, then both work, one is told from the other, and a command's exit code comes back", async () => {
    await using first = await raisePracticeSite(SMALL, { timers });
    await using second = await raisePracticeSite(SMALL, { timers });
    for (const site of [first, second]) {
      await using kiosk = await join(site, "kiosk", "239.195.77.2");
      await send(site, "tower", { group: "239.195.77.2", packets: 10 });
      expect(kiosk.seqs).toEqual(range(10));
    }
    const sites = findPracticeSites().filter(({ id }) => id === first.id || id === second.id);
    expect(sites).toHaveLength(2);
    expect(() => chooseStandingSite(sites, SMALL.name)).toThrow(
      expect.objectContaining({ code: "PRACTICE_NOT_FOUND", message: expect.stringContaining(second.id) }),
    );
    await second.exec("core", ["ip", "link", "add", "only-here", "type", "veth"]);
    const look = ["ip", "link", "show", "only-here"];
    const [a, b] = [chooseStandingSite(sites, first.id), chooseStandingSite(sites, second.id)];
    expect(await execInPracticeSite(a, "core", ["sh", "-c", `${look.join(" ")} >/dev/null 2>&1`])).toBe(1);
    expect(await execInPracticeSite(b, "core", ["sh", "-c", `${look.join(" ")} >/dev/null 2>&1`])).toBe(0);
    expect(await execInPracticeSite(b, "core", ["sh", "-c", `test "$PWD" = "${process.cwd()}" && exit 7`])).toBe(7);
    expect(await execInPracticeSite(b, "core", ["sh", "-c", "kill -TERM $$"])).toBe(128 + 15);
    await expect(execInPracticeSite(b, "croe", ["true"])).rejects.toMatchObject({ code: "NODE_UNKNOWN" });
  });
});

describe("practice site: rights and size", () => {
  test("given a plain user, then site, fault, management server and exec all work", async () => {
    const outer = startOuter(["tests/field/plain-user-round.mjs"], isRoot ? AS_NOBODY : []);
    expect(JSON.parse(await outer.line())).toEqual({
      isRoot: false,
      healthy: 20,
      faulty: 0,
      lifted: 20,
      management: "hello",
      exec: 5,
    });
    await once(outer.child, "close");
  });

  test("given a system that allows no namespaces, then the Fault says so and how to allow them", async () => {
    // A user namespace has limits of its own: this one allows no network namespace inside.
    const forbid = 'echo 0 > /proc/sys/user/max_net_namespaces && exec "$0" "$@"';
    const outer = startOuter(
      ["--input-type=module", "-e", RAISE_AND_SAY_FAULT],
      ["unshare", "--user", "--map-root-user", "sh", "-c", forbid],
    );
    const fault = JSON.parse(await outer.line());
    expect(fault).toMatchObject({
      code: "NEEDS_PRIVILEGE",
      hint: expect.stringMatching(/CAP_SYS_ADMIN|max_user_namespaces/),
    });
  });

  test("given 100 nodes, then the site stands in less than 20 s", async () => {
    const switches = range(6).map((number) => `edge-${number}`);
    const hosts = range(93).map((number) => `host-${number}`);
    const plan = siteOf(
      {
        core: "switch*",
        ...Object.fromEntries(switches.map((name) => [name, "switch"])),
        ...Object.fromEntries(hosts.map((name) => [name, "host"])),
      },
      [
        ...switches.map((name, number) => `core:${number + 1} -- ${name}:48`),
        ...hosts.map((name, number) => `edge-${number % 6}:${Math.floor(number / 6) + 1} -- ${name}:eth0`),
      ],
    );
    const startedAt = performance.now();
    await using site = await raisePracticeSite(plan, { timers });
    const tookMs = performance.now() - startedAt;
    expect(tookMs).toBeLessThan(20_000);
    await using last = await join(site, "host-92", "239.195.77.3");
    await send(site, "host-0", { group: "239.195.77.3", packets: 10 });
    expect(last.seqs).toEqual(range(10));
  });
});

const isRoot = process.getuid?.() === 0;
const AS_NOBODY = ["setpriv", "--reuid", "65534", "--regid", "65534", "--clear-groups", "env", "HOME=/tmp"];

interface Outer {
  readonly child: ChildProcess;
  line(): Promise<string>;
}

/** Another process that uses the package as this one does. It finds the packages from the repository's folder. */
function startOuter(program: readonly string[], under: readonly string[] = []): Outer {
  const [command = "", ...argv] = [...under, process.execPath, ...program];
  const child = spawn(command, argv, { cwd: REPOSITORY, stdio: ["ignore", "pipe", "inherit"] });
  const lines = createInterface({ input: child.stdout })[Symbol.asyncIterator]();
  return {
    child,
    line: async () => {
      const next = await Promise.race([lines.next(), sleep(60_000, null, { ref: false })]);
      if (next === null || next.done === true) throw new Error("the other process said nothing more");
      return next.value;
    },
  };
}

const PLAN = JSON.stringify(
  "site: Other\nnodes: { core: { kind: switch }, edge: { kind: switch }, tower: { kind: host }, kiosk: { kind: host } }\n" +
    "links: [core:1 -- edge:1, core:2 -- tower:eth0, edge:2 -- kiosk:eth0]",
);
const PRELUDE = `
import * as practice from "@dyetrace/practice";
import { loadSitePlan } from "@dyetrace/site";
const plan = loadSitePlan(${PLAN}, "plan");
`;
const RAISE_AND_WAIT = `${PRELUDE}
const site = await practice.raisePracticeSite(plan);
await site.spawn("kiosk", ["sleep", "600"]);
console.log(site.id);
console.log("gone: " + await site.closed);
setInterval(() => {}, 1000);`;
const RAISE_AND_SAY_FAULT = `${PRELUDE}
await practice.raisePracticeSite(plan).catch(({ code, message, hint }) => console.log(JSON.stringify({ code, message, hint })));`;

/** Names that a site would leave on the machine itself, if it left any: of nodes, and of management interfaces. */
function strayNames(): readonly string[] {
  const namespaces = existsSync("/run/netns") ? readdirSync("/run/netns") : [];
  const interfaces = readdirSync("/sys/class/net").filter((name) => /^(mgmt|m[0-9]+|br0)$/.test(name));
  return [...namespaces.filter((name) => SMALL.nodes.has(name)), ...interfaces];
}

/**
 * @returns a look at how many of the processes that are now in the site's process or mount namespace still live. By
 * process, not by namespace: the kernel gives the number of a namespace that has gone to the next one of another site.
 */
function tracesOf(id: string): () => number {
  const host = findPracticeSites().find((site) => site.id === id)?.hostPid ?? 0;
  const namespaces = [namespaceOf(host, "pid"), namespaceOf(host, "mnt")];
  expect(namespaces).not.toContain(null);
  const inside = readdirSync("/proc")
    .filter((entry) => /^[0-9]+$/.test(entry))
    .map((entry) => ({ pid: Number(entry), startedAt: startOf(Number(entry)) }))
    .filter(({ pid }) => namespaces.includes(namespaceOf(pid, "pid")) || namespaces.includes(namespaceOf(pid, "mnt")));
  return () => inside.filter(({ pid, startedAt }) => startOf(pid) === startedAt).length;
}

/** @returns when the process started, in ticks since the machine did (field 22 of /proc/PID/stat, proc(5)); null: it has ended */
function startOf(pid: number): string | null {
  try {
    const stat = readFileSync(`/proc/${pid}/stat`, "utf8");
    return stat.slice(stat.lastIndexOf(")") + 2).split(" ")[19] ?? null;
  } catch {
    return null;
  }
}

function namespaceOf(pid: number, kind: "pid" | "mnt"): string | null {
  try {
    return readlinkSync(`/proc/${pid}/ns/${kind}`);
  } catch {
    return null;
  }
}
