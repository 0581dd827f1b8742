import { type ChildProcess, spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, rmSync } from "node:fs";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import path from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import pg from "pg";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import type { AgentService } from "../../agent/src/control/agent-service.ts";
import { type PostgresServer, startPostgres } from "../field/postgres-server.ts";
import { drawInteger, drawOne, seededRandom } from "../simulation/seeded-random.ts";
import { Deeds, startScriptedAgent } from "./scripted-agent.ts";

/**
 * Two controllers on one PostgreSQL database, of which the one that conducts most is killed at random instants, with runs at
 * several sites, half of them scheduled. Agents are scripted but for their control code, spool and brakes, which are the real
 * ones. In full, by hand (some ten minutes):
 * `DYETRACE_ESTATE_KILLS=20 DYETRACE_ESTATE_AGENTS=200 DYETRACE_ESTATE_SITES=10 DYETRACE_SEED=7 npm run field -- tests/faults/estate.test.ts`
 */
const KILLS = Number(process.env["DYETRACE_ESTATE_KILLS"] ?? "2");
const AGENTS = Number(process.env["DYETRACE_ESTATE_AGENTS"] ?? "16");
const SITES = Number(process.env["DYETRACE_ESTATE_SITES"] ?? "4");
const SEED = Number(process.env["DYETRACE_SEED"] ?? 0x5eed);
const KEY = "estate-key";
/** Another controller counts one as gone after 10 s, and looks every second. */
const TAKEN_WITHIN_MS = 15_000;
/** A second between two beats, a tenth between two looks, and what a busy machine adds. */
const SLACK_MS = 2500;
const FROM_KILL_TO_KILL_MS = KILLS > 2 ? 18_000 : 13_000;
/** A busy machine takes its time to start a controller. */
const START_S = KILLS > 2 ? 4 : 0;
const LONG_S = Math.ceil((KILLS * FROM_KILL_TO_KILL_MS) / 1000) + KILLS * START_S + 6;
const PROGRAM = fileURLToPath(new URL("./estate-controller.mjs", import.meta.url));

interface Site {
  readonly name: string;
  readonly agents: readonly string[];
  readonly plan: string;
  readonly holdMs: number;
  readonly scenario: string;
}

const sites: readonly Site[] = Array.from({ length: SITES }, (_, index) => {
  const agents = Array.from({ length: AGENTS / SITES }, (_unused, at) => `s${index}-a${at}`);
  const [source, ...listeners] = agents;
  const holdMs = index % 2 === 0 ? 5000 : 600_000;
  const lengthS = index % 4 < 2 ? LONG_S : Math.max(8, Math.floor(LONG_S / 4));
  return {
    name: `Quillfen pier ${index}`,
    agents,
    holdMs,
    plan: `site: Quillfen pier ${index}
nodes:
  core: { kind: switch, querier: true }
${agents.map((agent) => `  ${agent}: { kind: host }`).join("\n")}
links:
${agents.map((agent, at) => `  - core:${at + 1} -- ${agent}:eth0`).join("\n")}
`,
    scenario: `scenario: estate
hold: ${holdMs / 1000} s
streams: [ { name: board, source: ${source}, group: 239.195.10.${index + 1}, rate: 100 kbit/s } ]
timeline:
  - { at: 0s, join: board, agents: [${listeners.join(", ")}] }
  - { at: 1s, emit: board }
  - { at: ${lengthS - 1}s, stop: board }
`,
  };
});

interface Row {
  readonly id: string;
  readonly site: string;
  readonly owner: string;
  readonly epoch: number;
  readonly state: string;
}
interface Seen extends Row {
  readonly atMs: number;
}

class Estate {
  readonly ports: readonly number[];
  readonly #url: string;
  readonly #children: (ChildProcess | null)[] = [null, null];

  constructor(url: string, ports: readonly number[]) {
    this.#url = url;
    this.ports = ports;
  }

  address(at: number): string {
    return `http://127.0.0.1:${this.ports[at]}`;
  }

  async start(at: number): Promise<void> {
    const child = spawn(process.execPath, [PROGRAM, this.#url, String(this.ports[at]), KEY], {
      stdio: ["ignore", "pipe", "inherit"],
    });
    this.#children[at] = child;
    await Promise.race([
      once(child.stdout, "data"),
      once(child, "exit").then(([code]) => Promise.reject(new Error(`The controller ended with ${code}`))),
    ]);
  }

  async kill(at: number): Promise<void> {
    const child = this.#children[at];
    if (child === null || child === undefined) return;
    this.#children[at] = null;
    const gone = once(child, "exit");
    child.kill("SIGKILL");
    await gone;
  }

  async post(at: number, route: string, body?: object): Promise<{ status: number; answer: Record<string, unknown> }> {
    const response = await fetch(new URL(route, this.address(at)), {
      method: "POST",
      ...(body === undefined ? {} : { headers: { "content-type": "application/json" }, body: JSON.stringify(body) }),
    });
    return { status: response.status, answer: (await response.json()) as Record<string, unknown> };
  }

  async get(at: number, route: string): Promise<{ status: number; answer: unknown }> {
    for (let again = 5; ; again--) {
      try {
        // A connection that is kept may be closed in the very moment in which it is used again.
        const response = await fetch(new URL(route, this.address(at)), { headers: { connection: "close" } });
        return { status: response.status, answer: await response.json() };
      } catch (error) {
        if (again === 0) throw error;
        await sleep(200);
      }
    }
  }
}

async function freePort(): Promise<number> {
  const server = createServer().listen(0, "127.0.0.1");
  await once(server, "listening");
  const { port } = server.address() as { port: number };
  await new Promise((resolve) => server.close(resolve));
  return port;
}

async function until(what: string, withinMs: number, isTrue: () => Promise<boolean>): Promise<void> {
  const deadlineMs = performance.now() + withinMs;
  while (!(await isTrue())) {
    if (performance.now() > deadlineMs) throw new Error(`Waited in vain until ${what}`);
    await sleep(200);
  }
}

const requestOf = ({ plan, scenario }: Site, startAt?: string): object => ({
  site: { file: "plan.yaml", text: plan },
  scenario: { file: "scenario.yaml", text: scenario },
  ...(startAt === undefined ? {} : { startAt }),
});

describe(`two controllers on one database, ${KILLS} kills at random instants, ${AGENTS} agents, ${SITES} runs, seed ${SEED}`, () => {
  const deeds = new Deeds();
  const agents: AgentService[] = [];
  const seen: Seen[] = [];
  const kills: { readonly atMs: number; readonly runs: readonly string[] }[] = [];
  const runIds: string[] = [];
  let postgres: PostgresServer;
  let client: pg.Client;
  let estate: Estate;
  let folder = "";
  let looking: NodeJS.Timeout | undefined;

  const rows = async (): Promise<readonly Row[]> =>
    (await client.query<Row>("select id, site, owner, epoch, state from runs")).rows;

  beforeAll(
    async () => {
      process.stderr.write(`estate: seed ${SEED}, ${KILLS} kills; DYETRACE_SEED=${SEED} repeats it\n`);
      const random = seededRandom(SEED);
      folder = mkdtempSync(path.join(tmpdir(), "dyetrace-estate-"));
      postgres = await startPostgres();
      const url = postgres.database("estate");
      client = new pg.Client({ connectionString: url });
      await client.connect();
      estate = new Estate(url, [await freePort(), await freePort()]);
      await estate.start(0);
      await estate.start(1);
      for (const [index, site] of sites.entries()) {
        for (const [at, name] of site.agents.entries()) {
          // Some begin at the one, some at the other: whoever conducts calls them.
          const urls = [0, 1].map((one) => estate.address((one + at) % 2));
          agents.push(startScriptedAgent({ name, address: `10.${index}.0.${at + 1}`, urls, key: KEY, folder }, deeds));
        }
      }
      await until("all agents are connected", 60_000, async () => {
        const lists = await Promise.all([0, 1].map((at) => estate.get(at, "/api/agents")));
        return lists.reduce((sum, { answer }) => sum + (answer as unknown[]).length, 0) === AGENTS;
      });
      let isLooking = false;
      looking = setInterval(() => {
        if (isLooking) return;
        isLooking = true;
        void rows()
          .then((all) => {
            const atMs = performance.now();
            for (const row of all) {
              const last = seen.findLast(({ id }) => id === row.id);
              const isNew = last?.owner !== row.owner || last.epoch !== row.epoch || last.state !== row.state;
              if (isNew) seen.push({ ...row, atMs });
            }
          })
          .catch(() => undefined)
          .finally(() => {
            isLooking = false;
          });
      }, 100);
      const began = Date.now();
      for (const [index, site] of sites.entries()) {
        const inMs = index % 2 === 0 ? null : drawInteger(random, 1000, index % 4 < 2 ? 3000 : (LONG_S * 1000) / 2);
        const startAt = inMs === null ? undefined : new Date(began + inMs).toISOString();
        const { status, answer } = await estate.post(index % 2, "/api/runs", requestOf(site, startAt));
        expect([status, answer]).toEqual([202, { runId: expect.any(String) }]);
        runIds.push(String(answer["runId"]));
      }
      for (let at = 0; at < KILLS; at++) {
        await sleep(drawInteger(random, 500, 3000));
        // The one that conducts most; where neither does, any.
        const running = (await rows()).filter(({ state }) => state === "running");
        const owners = new Map<string, number>();
        for (const { owner } of running) owners.set(owner, (owners.get(owner) ?? 0) + 1);
        const health = await Promise.all([0, 1].map((one) => estate.get(one, "/api/status")));
        expect(health.map(({ status }) => status)).toEqual([200, 200]);
        const counts = await Promise.all(
          [0, 1].map(async (one) => ((await estate.get(one, "/api/agents")).answer as unknown[]).length),
        );
        const victim =
          (counts[0] ?? 0) === (counts[1] ?? 0) ? drawOne(random, [0, 1]) : (counts[0] ?? 0) > (counts[1] ?? 0) ? 0 : 1;
        const killedMs = performance.now();
        await estate.kill(victim);
        kills.push({ atMs: killedMs, runs: running.map(({ id }) => id) });
        await sleep(drawInteger(random, 0, 3000));
        await estate.start(victim);
        await sleep(Math.max(0, killedMs + FROM_KILL_TO_KILL_MS - performance.now() - 3000));
      }
      await until("every run is over", LONG_S * 1000 + 120_000, async () =>
        (await rows()).every(({ state }) => state !== "running" && state !== "scheduled"),
      );
      clearInterval(looking);
    },
    LONG_S * 2000 + 300_000,
  );
  afterAll(async () => {
    clearInterval(looking);
    await Promise.all(agents.map((agent) => agent.close()));
    for (const at of [0, 1]) await estate?.kill(at);
    await client?.end();
    await postgres?.[Symbol.asyncDispose]();
    rmSync(folder, { recursive: true, force: true });
  });

  test("each run, scheduled ones too, was carried out once, and its agents were never told to do anything twice", async () => {
    expect((await rows()).map(({ state }) => state)).toEqual(runIds.map(() => "done"));
    expect(deeds.mistakes).toEqual([]);
    for (const [index, site] of sites.entries()) {
      const runId = runIds[index] ?? "";
      const emissions = deeds.emissions.filter((one) => one.runId === runId);
      expect([site.name, emissions.length > 0]).toEqual([site.name, true]);
      expect(emissions.filter((one) => one.agent !== site.agents[0])).toEqual([]);
      // Only a source that its brake had stopped began again.
      for (const one of emissions.slice(0, -1)) expect([site.name, one.why]).toEqual([site.name, "hold-time"]);
      if (site.holdMs > 60_000) expect([site.name, emissions.length]).toEqual([site.name, 1]);
    }
  });

  test("no interval is missing and none is there twice: the store has what each agent measured", async () => {
    const stints = await client.query<{ key: string; kept: string; rows: string; distinct: string }>(
      `select run_id || ' ' || agent as key, sum(kept_number) as kept,
        (select sum(last_number - first_number + 1) from reports r where r.run_id = s.run_id and r.agent = s.agent) as rows
       from stints s group by run_id, agent`,
    );
    const received = await client.query<{ key: string; received: string }>(
      "select run_id || ' ' || agent as key, sum(received) as received from minutes group by run_id, agent",
    );
    const kept = new Map(stints.rows.map(({ key, kept: count }) => [key, Number(count)]));
    const receivedOf = new Map(received.rows.map(({ key, received: count }) => [key, Number(count)]));
    const measured = [...deeds.intervals].toSorted();
    expect([...kept].toSorted()).toEqual(measured);
    const packets = [...deeds.packets].filter(([, count]) => count > 0).toSorted();
    expect([...receivedOf].filter(([, count]) => count > 0).toSorted()).toEqual(packets);
    process.stderr.write(
      `estate: ${measured.reduce((sum, [, count]) => sum + count, 0)} intervals, ${packets.reduce((sum, [, count]) => sum + count, 0)} packets, none missing, none twice\n`,
    );
  });

  test("each run has one conductor at a time, with a number that rises, and another within 15 s of a death", () => {
    const waitsMs: number[] = [];
    for (const runId of runIds) {
      const history = seen.filter(({ id }) => id === runId);
      for (const [index, { epoch }] of history.entries()) {
        expect(epoch).toBeGreaterThanOrEqual(history[index - 1]?.epoch ?? 0);
      }
      for (const kill of kills.filter(({ runs }) => runs.includes(runId))) {
        const before = history.findLast(({ atMs }) => atMs <= kill.atMs);
        const after = history.find(({ atMs, epoch }) => atMs > kill.atMs && epoch > (before?.epoch ?? 0));
        const over = history.find(({ atMs, state }) => atMs > kill.atMs && state === "done");
        // Of the other controller's runs nothing changes hands.
        if (after === undefined || (over !== undefined && over.atMs < after.atMs)) continue;
        const later = kills.find(({ atMs }) => atMs > kill.atMs);
        if (later !== undefined && after.atMs > later.atMs) continue; // by the next death
        waitsMs.push(after.atMs - kill.atMs);
      }
    }
    waitsMs.sort((a, b) => a - b);
    process.stderr.write(
      `estate: ${kills.filter(({ runs }) => runs.length > 0).length} kills under way, ${waitsMs.length} runs changed hands, within ${Math.round(waitsMs[0] ?? 0)} to ${Math.round(waitsMs.at(-1) ?? 0)} ms\n`,
    );
    expect(waitsMs.length).toBeGreaterThan(0);
    expect(waitsMs.at(-1)).toBeLessThan(TAKEN_WITHIN_MS);
  });

  test("no source goes on for longer than its hold time without a controller that conducts its run", () => {
    for (const [index, { holdMs, name }] of sites.entries()) {
      const runId = runIds[index] ?? "";
      const history = seen.filter(({ id }) => id === runId);
      for (const kill of kills) {
        const before = history.findLast(({ atMs }) => atMs <= kill.atMs);
        const after = history.find(({ atMs, epoch }) => atMs > kill.atMs && epoch > (before?.epoch ?? 0));
        if (before?.state !== "running" || after === undefined) continue;
        if (!kill.runs.includes(runId)) continue;
        const later = kills.find(({ atMs }) => atMs > kill.atMs);
        if (later !== undefined && after.atMs > later.atMs) continue;
        const latestMs = kill.atMs + holdMs + SLACK_MS;
        for (const one of deeds.emissions.filter((emission) => emission.runId === runId)) {
          const fromMs = one.fromNs / 1e6;
          const toMs = (one.toNs ?? 0) / 1e6;
          if (fromMs > kill.atMs || toMs < kill.atMs || latestMs > after.atMs) continue;
          expect([name, toMs <= latestMs]).toEqual([name, true]);
        }
      }
    }
  });
});
