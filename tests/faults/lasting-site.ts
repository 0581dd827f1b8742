import { type ChildProcess, spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, readdirSync, readFileSync, rmSync } from "node:fs";
import { connect, createServer, type Socket } from "node:net";
import { tmpdir } from "node:os";
import path from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import { type PracticeProcess, type PracticeSite, raisePracticeSite } from "@dyetrace/practice";
import { loadSitePlan } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { inTurn } from "../field/support/in-turn.ts";
import { QUICK_TIMERS } from "../field/support/quick-timers.ts";
import { holdSmallDisk, type SmallDisk } from "./small-disk.ts";

const AGENT = fileURLToPath(new URL("../../agent/bin/dyetrace-agent.mjs", import.meta.url));
const AGENT_CONFIG = fileURLToPath(import.meta.resolve("@dyetrace/practice/agent-config"));
const CONTROLLER = fileURLToPath(new URL("./lasting-controller.mjs", import.meta.url));
/** On a machine that is busy with other things as well. */
const START_WITHIN_MS = 120_000;
const KEY = "0123456789abcdef0123456789abcdef";

/** A practice site whose controller is a process of its own and whose control network can be cut. */
export interface LastingSite extends AsyncDisposable {
  readonly site: PracticeSite;
  readonly dataFolder: string;
  readonly key: string;
  /** Where the controller's data folder is; null: on no disk of its own. */
  readonly disk: SmallDisk | null;
  /** Resident memory of the controller, bytes: now, and the most that it ever had (proc(5): VmRSS, VmHWM). */
  controllerMemory(): { readonly now: number; readonly most: number };
  /** Files and sockets that the controller has open. */
  controllerHandles(): number;
  /** The controller's address, the same one after every restart. */
  readonly url: string;
  /** @param more environment than the site's */
  startController(more?: Readonly<Record<string, string>>): Promise<void>;
  /** With SIGKILL: nothing is written, nothing is said. */
  killController(): Promise<void>;
  stopController(signal: NodeJS.Signals): Promise<void>;
  /** SIGSTOP and SIGCONT: it hangs, with its connections open. */
  signalController(signal: NodeJS.Signals): void;
  startAgent(name: string): Promise<void>;
  killAgent(name: string): Promise<void>;
  /** Nothing passes between agents and controller until `mendControl`. */
  cutControl(): void;
  mendControl(): void;
  startRun(scenario: string): Promise<string>;
  abortRun(runId: string): Promise<void>;
  /** Stops a run that may be going on, and waits until it is over in whatever way. */
  endRun(runId: string): Promise<void>;
  /** Waits for the order to start. @returns start and end of the run on this process' clock, ms */
  begun(runId: string): Promise<{ readonly startMs: number; readonly endMs: number }>;
  /** Waits for the run's report, whatever happens to the controller meanwhile. */
  report(runId: string, withinMs: number): Promise<RunReport>;
  /** Waits until every agent of the plan is connected. */
  allConnected(): Promise<void>;
  /** Waits until the controller knows that an agent has gone. */
  gone(name: string): Promise<void>;
}

/** @param env for the controller and for every agent @param diskSize of a disk of the controller's own; null: none */
export async function raiseLastingSite(
  plan: string,
  env: Readonly<Record<string, string>> = {},
  diskSize: string | null = null,
): Promise<LastingSite> {
  const graph = loadSitePlan(plan, "plan.yaml");
  const site = await raisePracticeSite(graph, { timers: QUICK_TIMERS });
  const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-lasting-"));
  const disk = diskSize === null ? null : await holdSmallDisk(path.join(folder, "disk"), diskSize);
  const dataFolder = path.join(folder, disk === null ? "" : "disk", "controller");
  const port = await lastingPort();
  const url = `http://127.0.0.1:${port}`;
  const agents = new Map<string, PracticeProcess>();
  const pipes = new Set<Socket>();
  let controller: ChildProcess | null = null;
  let isCut = false;

  // Agents inside the site reach the controller outside through this process.
  site.managementServer.on("connection", (inside: Socket) => {
    if (isCut) {
      inside.destroy();
      return;
    }
    const outside = connect(port, "127.0.0.1");
    for (const [from, to] of [
      [inside, outside],
      [outside, inside],
    ] as const) {
      pipes.add(from);
      from.on("error", () => to.destroy());
      from.on("close", () => {
        pipes.delete(from);
        to.destroy();
      });
      from.pipe(to);
    }
  });

  const stop = async (signal: NodeJS.Signals): Promise<void> => {
    if (controller === null || controller.exitCode !== null || controller.signalCode !== null) return;
    const gone = once(controller, "exit");
    controller.kill(signal);
    await gone;
    controller = null;
  };
  const get = async (route: string): Promise<unknown> => (await fetch(new URL(route, url))).json();

  const hosts = [...graph.nodes.values()].flatMap(({ agent }) => agent ?? []);
  const connected = async (): Promise<readonly string[]> =>
    ((await get("/api/agents").catch(() => [])) as { name: string }[]).map(({ name }) => name);

  const lasting: LastingSite = {
    site,
    dataFolder: disk === null ? dataFolder : path.join(disk.folder, "controller"),
    disk,
    key: KEY,
    controllerMemory: () => {
      const status = readFileSync(`/proc/${controller?.pid}/status`, "utf8");
      const bytesOf = (key: string): number =>
        Number(new RegExp(`^${key}:\\s+([0-9]+) kB$`, "m").exec(status)?.[1]) * 1024;
      return { now: bytesOf("VmRSS"), most: bytesOf("VmHWM") };
    },
    url,
    controllerHandles: () => readdirSync(`/proc/${controller?.pid}/fd`).length,
    startController: async (more = {}) => {
      const [command = "", ...args] = [
        ...(disk?.enter ?? []),
        process.execPath,
        CONTROLLER,
        dataFolder,
        String(port),
        KEY,
      ];
      const child = spawn(command, args, {
        stdio: ["ignore", "pipe", "inherit"],
        env: { ...process.env, ...env, ...more },
      });
      controller = child;
      await Promise.race([
        once(child.stdout, "data", { signal: AbortSignal.timeout(START_WITHIN_MS) }),
        once(child, "exit").then(([code]) => {
          throw new Error(`The controller ended with code ${code} instead of starting`);
        }),
      ]);
    },
    killController: () => stop("SIGKILL"),
    stopController: stop,
    signalController: (signal) => void controller?.kill(signal),
    startAgent: async (name) => {
      const { interfaceName } = site.addressOf(name);
      const argv = [process.execPath, AGENT, "run", "--controller", site.managementUrl, "--key", KEY, "--name", name];
      argv.push("--interface", interfaceName, "--config", AGENT_CONFIG, "--data", path.join(folder, "agents"));
      const onLine = (line: string): void => void process.stderr.write(`${name}: ${line}\n`);
      agents.set(name, await site.spawn(name, argv, { env: { DYETRACE_LOG: "error", ...env }, onLine }));
    },
    killAgent: async (name) => {
      agents.get(name)?.signal("SIGKILL");
      await agents.get(name)?.exit;
    },
    cutControl: () => {
      isCut = true;
      for (const pipe of pipes) pipe.destroy();
    },
    mendControl: () => {
      isCut = false;
    },
    startRun: async (scenario) => {
      const response = await fetch(new URL("/api/runs", url), {
        method: "POST",
        headers: { "content-type": "application/json" },
        body: JSON.stringify({
          site: { file: "plan.yaml", text: plan },
          scenario: { file: "scenario.yaml", text: scenario },
        }),
      });
      const answer = (await response.json()) as { runId?: string; message?: string };
      if (answer.runId === undefined) throw new Error(`The run was refused: ${answer.message}`);
      return answer.runId;
    },
    abortRun: async (runId) => void (await fetch(new URL(`/api/runs/${runId}/abort`, url), { method: "POST" })),
    endRun: (runId) =>
      until("the run is over", async () => {
        // Again and again: a controller that has just come back may not have taken the run up yet.
        await lasting.abortRun(runId).catch(() => undefined);
        const record = (await get(`/api/runs/${runId}`).catch(() => null)) as {
          report?: RunReport | null;
          failure?: object | null;
        } | null;
        return record?.report != null || record?.failure != null;
      }),
    begun: async (runId) => {
      const response = await fetch(new URL(`/api/runs/${runId}/progress`, url));
      let words = "";
      for await (const chunk of response.body ?? []) {
        words += Buffer.from(chunk as Uint8Array).toString("utf8");
        const go = /"kind":"go","startsInMs":([0-9.]+),"lastsMs":([0-9.]+)/.exec(words);
        if (go === null) continue;
        const startMs = performance.now() + Number(go[1]);
        return { startMs, endMs: startMs + Number(go[2]) };
      }
      throw new Error(`The run never began: ${words}`);
    },
    report: async (runId, withinMs) => {
      const deadline = Date.now() + withinMs;
      while (Date.now() < deadline) {
        const record = (await get(`/api/runs/${runId}`).catch(() => null)) as {
          report: RunReport | null;
          failure: { message: string } | null;
        } | null;
        if (record?.failure != null) throw new Error(record.failure.message);
        if (record?.report != null) return record.report;
        await sleep(500);
      }
      throw new Error("The run has no report in time");
    },
    allConnected: () => until("all agents are connected", async () => (await connected()).length === hosts.length),
    gone: (name) => until(`${name} is gone`, async () => !(await connected()).includes(name)),
    [Symbol.asyncDispose]: async () => {
      await stop("SIGKILL");
      await site.close();
      await disk?.[Symbol.asyncDispose]();
      rmSync(folder, { recursive: true, force: true });
    },
  };
  await inTurn(async () => {
    await lasting.startController();
    for (const host of hosts) await lasting.startAgent(host);
    await lasting.allConnected();
  });
  await site.settled();
  return lasting;
}

/** Up to here the kernel gives no ports away by itself (ip-sysctl: ip_local_port_range begins at 32768). */
const FIRST_PORT = 20_000;
const PORTS = 12_000;
let nextPort = process.pid;

/**
 * A port that stays free while nobody listens on it, so that a controller finds it again after each restart: none of
 * those that the kernel gives to whoever asks for any, and, by this process' id, none that another test would choose.
 */
async function lastingPort(): Promise<number> {
  for (;;) {
    const port = FIRST_PORT + (nextPort++ % PORTS);
    const probe = createServer();
    const isFree = await new Promise<boolean>((resolve) => {
      probe.once("error", () => resolve(false));
      probe.listen(port, "127.0.0.1", () => resolve(true));
    });
    await new Promise((resolve) => probe.close(resolve));
    if (isFree) return port;
  }
}

async function until(what: string, isTrue: () => Promise<boolean>): Promise<void> {
  const deadline = Date.now() + 120_000;
  while (!(await isTrue())) {
    if (Date.now() > deadline) throw new Error(`Waited in vain until ${what}`);
    await sleep(100);
  }
}
