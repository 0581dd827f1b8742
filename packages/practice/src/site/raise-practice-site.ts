import { randomBytes } from "node:crypto";
import type { Socket as DatagramSocket } from "node:dgram";
import { existsSync } from "node:fs";
import type { Server } from "node:net";
import { planPlace, type SiteGraph } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import { buildSteps, querierOn } from "../build/build-steps.ts";
import { portsForwarding } from "../build/ports-forwarding.ts";
import { countQueries, type QueryCounts, type Snooper, snoopingSettled } from "../build/snooping-settled.ts";
import { FaultBoard } from "../faults/fault-board.ts";
import type { PracticeFault } from "../faults/practice-fault.ts";
import { PracticeHost } from "../host/practice-host.ts";
import type { ExecOptions, ExecResult, PracticeProcess, SpawnOptions } from "../host/practice-process.ts";
import { runSteps, runStepsTogether } from "../host/run-steps.ts";
import { inside } from "../host/step.ts";
import { MANAGEMENT_ADDRESS, MANAGEMENT_PORT } from "../layout/fixed-addresses.ts";
import type { MulticastRouting } from "../layout/multicast-routing.ts";
import { isForwarding, isSnooping } from "../layout/node-kinds.ts";
import { layPracticeSite, type PracticeLayout } from "../layout/practice-layout.ts";
import { PRACTICE_TIMERS, type PracticeTimers } from "../layout/practice-timers.ts";
import { startRouters } from "../routing/start-routers.ts";
import type { PracticeDevice } from "../talk/device-secret.ts";
import { requireTalkers, startTalking } from "../talk/start-talking.ts";
import { talkersOf } from "../talk/talkers.ts";
import { type GroupTableEntry, readGroupTables } from "./group-tables.ts";
import type { PracticeAddress, PracticeSite, PracticeSiteOptions } from "./practice-site.ts";

/**
 * Builds the site plan on this machine and waits until it works as its switches would: hosts can reach each other, and
 * every snooping switch has stopped flooding.
 * @throws {Fault} SITE_PLAN_INVALID, NEEDS_LINUX, NEEDS_TOOL, NEEDS_PRIVILEGE or PRACTICE_FAILED; nothing stands then
 */
export async function raisePracticeSite(graph: SiteGraph, options: PracticeSiteOptions = {}): Promise<PracticeSite> {
  const {
    firstSource = null,
    routing = "memberships",
    switchesTalk = false,
    signal = new AbortController().signal,
    log = () => {},
  } = options;
  signal.throwIfAborted();
  const layout = layPracticeSite(graph, firstSource);
  if (switchesTalk) requireTalkers();
  const talkers = switchesTalk ? talkersOf(layout) : [];
  const timers = { ...PRACTICE_TIMERS, ...options.timers };
  const hasIpv6 = existsSync("/proc/sys/net/ipv6");
  const id = randomBytes(4).toString("hex");
  const host = await PracticeHost.start({ id, name: graph.name });
  const onAbort = (): void => void host.end();
  signal.addEventListener("abort", onAbort, { once: true });
  try {
    const startedAt = performance.now();
    for (const phase of buildSteps(layout, timers, hasIpv6, talkers)) await runStepsTogether(host, phase);
    log(`built ${graph.nodes.size} nodes and ${graph.links.length} links in ${seconds(startedAt)} s`);
    const bridges = [...layout.nodes.values()].filter(({ kind }) => isForwarding(kind));
    await portsForwarding(host, bridges, signal);
    await runSteps(host, querierOn(layout, hasIpv6));
    await startRouters(host, layout, { timers, hasIpv6, routing });
    const devices = await startTalking(host, talkers);
    const managementServer = await host.listen(MANAGEMENT_ADDRESS, MANAGEMENT_PORT);
    const site = new RaisedSite({ id, graph, layout, timers, routing, hasIpv6, host, managementServer, devices });
    await site.heardSince(new Map(), signal);
    log(`every snooping switch acts on its table ${seconds(startedAt)} s after the start`);
    void host.gone.then(() => signal.removeEventListener("abort", onAbort));
    return site;
  } catch (error) {
    signal.removeEventListener("abort", onAbort);
    await host.end();
    signal.throwIfAborted();
    throw error;
  }
}

const seconds = (sinceMs: number): string => ((performance.now() - sinceMs) / 1000).toFixed(1);

interface Foundations {
  readonly id: string;
  readonly graph: SiteGraph;
  readonly layout: PracticeLayout;
  readonly timers: PracticeTimers;
  readonly routing: MulticastRouting;
  readonly hasIpv6: boolean;
  readonly host: PracticeHost;
  readonly managementServer: Server;
  readonly devices: readonly PracticeDevice[];
}

class RaisedSite implements PracticeSite {
  readonly id: string;
  readonly graph: SiteGraph;
  readonly timers: PracticeTimers;
  readonly querier: string | null;
  readonly managementServer: Server;
  readonly managementUrl: string = `http://${MANAGEMENT_ADDRESS}:${MANAGEMENT_PORT}`;
  readonly devices: readonly PracticeDevice[];
  readonly closed: Promise<string | null>;
  readonly #layout: PracticeLayout;
  readonly #host: PracticeHost;
  readonly #hasIpv6: boolean;
  readonly #faults: FaultBoard;

  constructor({ id, graph, layout, timers, routing, hasIpv6, host, managementServer, devices }: Foundations) {
    this.id = id;
    this.graph = graph;
    this.timers = timers;
    this.querier = planPlace(layout.queriers[0]?.node ?? "") || null;
    this.managementServer = managementServer;
    this.devices = devices;
    this.closed = host.gone;
    this.#layout = layout;
    this.#host = host;
    this.#hasIpv6 = hasIpv6;
    const queriers = layout.queriers.map(({ node }) => node);
    this.#faults = new FaultBoard(host, { layout, graph, timers, hasIpv6, queriers, routing });
  }

  openDatagram(): Promise<DatagramSocket> {
    return this.#host.datagram(MANAGEMENT_ADDRESS);
  }

  addressOf(name: string): PracticeAddress {
    this.#namespaceOf(name);
    const [port] = this.#layout.nodes.get(name)?.ports.values() ?? [];
    if (port?.address?.management == null) {
      throw new Fault(
        "NODE_UNKNOWN",
        `"${name}" has no address in the practice site`,
        "Only hosts with a link have one",
      );
    }
    const { ipv4, ipv6 } = port.address;
    const { management } = port.address;
    return { ipv4, ipv6: this.#hasIpv6 ? ipv6 : null, management, mac: port.mac, interfaceName: port.interfaceName };
  }

  interfaceOf(node: string, portName: string): string {
    this.#namespaceOf(node);
    const ports = [...this.#layout.nodes.values()]
      .filter(({ namespace }) => namespace === node)
      .flatMap((one) => [...one.ports.values()]);
    const port = ports.find(({ port }) => planPlace(port) === portName);
    if (port !== undefined) return port.interfaceName;
    throw new Fault(
      "NODE_UNKNOWN",
      `"${node}" has no port "${portName}" in the site plan`,
      "Look at the links of the plan",
    );
  }

  spawn(node: string, argv: readonly string[], options: SpawnOptions = {}): Promise<PracticeProcess> {
    return this.#host.spawn(inside(this.#namespaceOf(node), argv), options);
  }

  exec(node: string, argv: readonly string[], { stdin = "", env = {} }: ExecOptions = {}): Promise<ExecResult> {
    return this.#host.run(inside(this.#namespaceOf(node), argv), stdin, env);
  }

  groupTables(): Promise<readonly GroupTableEntry[]> {
    return readGroupTables(this.#host, this.#layout);
  }

  inject(faults: readonly PracticeFault[]): Promise<void> {
    return this.#faults.inject(faults);
  }

  lift(faults: readonly PracticeFault[]): Promise<void> {
    return this.#faults.lift(faults);
  }

  async settled(signal: AbortSignal = new AbortController().signal): Promise<void> {
    await this.heardSince(await countQueries(this.#host, this.#snoopers()), signal);
  }

  /** Waits until each snooper in the querier's earshot acts on a query later than `since`. */
  heardSince(since: ReadonlyMap<string, QueryCounts>, signal: AbortSignal): Promise<void> {
    const { queryIntervalMs, queryResponseIntervalMs } = this.timers;
    return snoopingSettled(this.#host, this.#snoopers(), since, {
      responseMs: queryResponseIntervalMs,
      deadlineMs: 2 * queryIntervalMs + queryResponseIntervalMs + SLACK_MS,
      hasIpv6: this.#hasIpv6,
      signal,
    });
  }

  async close(): Promise<void> {
    this.managementServer.close();
    await this.#host.end();
  }

  [Symbol.asyncDispose](): Promise<void> {
    return this.close();
  }

  #namespaceOf(name: string): string {
    if (this.graph.nodes.has(name)) return name;
    const names = [...this.graph.nodes.keys()].join(", ");
    throw new Fault("NODE_UNKNOWN", `The practice site has no node "${name}"`, `Its nodes: ${names}`);
  }

  /** The snooping nodes that a querier reaches over forwarding nodes. */
  #snoopers(): readonly Snooper[] {
    const { site, nodes, queriers } = this.#layout;
    const reached = new Set(queriers.map(({ node }) => node));
    for (const name of reached) {
      for (const { to } of site.outgoing.get(name) ?? []) {
        if (isForwarding(site.nodes.get(to.node)?.kind ?? "host")) reached.add(to.node);
      }
    }
    return [...reached].flatMap((name) => nodes.get(name) ?? []).filter(({ kind }) => isSnooping(kind));
  }
}

/** For a machine that is busy. */
const SLACK_MS = 10_000;
