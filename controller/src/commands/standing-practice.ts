import { randomBytes } from "node:crypto";
import { chmodSync } from "node:fs";
import { fileURLToPath } from "node:url";
import {
  type MulticastRouting,
  type PracticeProcess,
  type PracticeSite,
  type PracticeTimers,
  raisePracticeSite,
} from "@dyetrace/practice";
import type { SiteGraph } from "@dyetrace/site";
import { Fault, type UserFile } from "@dyetrace/wire";
import { SNMP_PORT } from "@dyetrace/wire/devices/snmp-words";
import { pino } from "pino";
import type { PracticeDevices } from "../devices/practice-devices.ts";
import type { Safety } from "../plan/safety.ts";
import { type Closers, openAll } from "../service/closers.ts";
import type { Controller } from "../service/controller-service.ts";
import { registerPracticeRoutes } from "../service/practice-routes.ts";
import type { Store } from "../store/store.ts";
import { makeTemporaryFolder } from "./arguments/temporary-folder.ts";

export interface PracticeSetup {
  readonly graph: SiteGraph;
  /** The plan's own text, which the console shows. */
  readonly plan?: UserFile;
  /** For operators; port 0 takes a free one. */
  readonly listen: { readonly host: string; readonly port: number };
  readonly firstSource?: string;
  readonly timers?: Partial<PracticeTimers>;
  /** How the site's routers learn what to forward. */
  readonly routing?: MulticastRouting;
  /** Whether its switches announce themselves and can be asked for their tables. */
  readonly switchesTalk?: boolean;
  readonly log: (sentence: string) => void;
  /** Where runs are kept; the caller closes it. Without one in memory. */
  readonly store?: Store;
  readonly signal?: AbortSignal;
  /** Only to show what happens on a live site: by default runs begin at once, at their full rate. */
  readonly safety?: Safety;
  /** Goes before the program of an agent, by the agent's name: to start it with fewer rights, for example. */
  readonly launchers?: ReadonlyMap<string, readonly string[]>;
}

/** A practice site with a controller and an agent on every host of the plan that has one, all connected. */
export interface StandingPractice extends AsyncDisposable {
  readonly site: PracticeSite;
  readonly controller: Controller;
  readonly agents: ReadonlyMap<string, PracticeProcess>;
}

const CONNECT_WITHIN_MS = 60_000;
const AGENT_PROGRAM = fileURLToPath(import.meta.resolve("@dyetrace/agent/program"));
/** What practice agents may send: inside a practice site nothing can be disturbed. */
const PRACTICE_AGENT_CONFIG = fileURLToPath(import.meta.resolve("@dyetrace/practice/agent-config"));

export const raisePractice = (setup: PracticeSetup): Promise<StandingPractice> =>
  openAll(
    (closers) => openPractice(setup, closers),
    (error) => setup.log(`Not everything could be taken down: ${String(error)}`),
  );

/** How its switches are asked: by the site's own socket, for their addresses are inside it. */
const devicesOf = (site: PracticeSite): PracticeDevices => ({
  targets: site.devices.map(({ node, address, user, authKey, privKey }) => ({
    ...{ node, address, port: SNMP_PORT },
    access: { version: "3", user, auth: "sha", authPassword: authKey, privacy: "aes", privacyPassword: privKey },
  })),
  openSocket: () => site.openDatagram(),
});

async function openPractice(setup: PracticeSetup, closers: Closers): Promise<StandingPractice> {
  const { graph, log } = setup;
  const agentData = closers.own(makeTemporaryFolder("dyetrace-practice-"));
  chmodSync(agentData.path, 0o1777); // an agent may be started as another user
  const site = closers.own(
    await raisePracticeSite(graph, {
      log,
      ...(setup.firstSource === undefined ? {} : { firstSource: setup.firstSource }),
      ...(setup.timers === undefined ? {} : { timers: setup.timers }),
      ...(setup.routing === undefined ? {} : { routing: setup.routing }),
      ...(setup.switchesTalk === undefined ? {} : { switchesTalk: setup.switchesTalk }),
      ...(setup.signal === undefined ? {} : { signal: setup.signal }),
    }),
  );
  const agentKey = randomBytes(16).toString("hex");
  const { startController } = await import("../service/controller-service.ts");
  const controller = closers.own(
    await startController(
      {
        ...setup.listen,
        agentKey,
        agentServer: site.managementServer,
        ...(setup.store === undefined ? {} : { store: setup.store }),
        isPractice: true,
        switches: {
          readTables: () => site.groupTables(),
          timers: {
            membershipMs: site.timers.membershipIntervalMs,
            otherQuerierMs: site.timers.otherQuerierIntervalMs,
            lastMemberQueries: site.timers.lastMemberQueries,
          },
        },
        ...(site.devices.length === 0 ? {} : { devices: devicesOf(site) }),
        ...(setup.safety === undefined ? {} : { safety: setup.safety }),
        ...(setup.plan === undefined ? {} : { plan: setup.plan }),
        log: pino({ level: "warn" }, pino.destination(2)),
      },
      (app) => registerPracticeRoutes(app, site),
    ),
  );
  const hosts = [...graph.nodes.values()].filter((node) => node.agent !== null);
  log(`Starting ${hosts.length} agents`);
  const agents = new Map<string, PracticeProcess>();
  for (const host of hosts) {
    if (host.agent === null) continue;
    const { interfaceName } = site.addressOf(host.name);
    const launcher = setup.launchers?.get(host.agent) ?? [];
    const argv = [...launcher, process.execPath, AGENT_PROGRAM, "run"];
    argv.push("--controller", site.managementUrl, "--key", agentKey);
    argv.push("--name", host.agent, "--interface", interfaceName, "--config", PRACTICE_AGENT_CONFIG);
    argv.push("--data", agentData.path);
    const onLine = (line: string): void => log(`${host.name}: ${line}`);
    agents.set(
      host.agent,
      await site.spawn(host.name, argv, {
        env: { DYETRACE_LOG: "error" },
        onLine,
      }),
    );
  }
  await Promise.all([allConnected(controller, agents, setup.signal), site.settled(setup.signal)]);
  return { site, controller, agents, [Symbol.asyncDispose]: () => closers.close() };
}

/** @throws {Fault} PRACTICE_FAILED naming the agents that ended or did not connect */
async function allConnected(
  controller: Controller,
  agents: ReadonlyMap<string, PracticeProcess>,
  signal: AbortSignal | undefined,
): Promise<void> {
  const ended = new Set<string>();
  for (const [name, agent] of agents) void agent.exit.then(() => ended.add(name));
  const deadline = Date.now() + CONNECT_WITHIN_MS;
  for (;;) {
    const waiting = [...agents.keys()].filter((name) => controller.registry.find(name) === undefined);
    if (waiting.length === 0) return;
    signal?.throwIfAborted();
    const failed = waiting.filter((name) => ended.has(name));
    if (failed.length > 0 || Date.now() > deadline) {
      const names = (failed.length > 0 ? failed : waiting).join(", ");
      throw new Fault(
        "PRACTICE_FAILED",
        `These practice agents did not connect: ${names}`,
        "Their last words are above",
      );
    }
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}
