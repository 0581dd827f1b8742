import { type AgentCapabilities, type AgentTask, Fault, type IntervalReport } from "@dyetrace/wire";
import { refuseTask } from "../guards/guards.ts";
import { watchedStreams } from "../guards/watched-streams.ts";
import { SharedControl } from "../workers/shared-control.ts";
import type { IntervalPart, WorkerSetup } from "../workers/worker-protocol.ts";
import type { DataPlane, DataPlaneOptions, HostLimits } from "./data-plane.ts";
import { HostCounters } from "./host-counters.ts";
import { IntervalMerge } from "./interval-merge.ts";
import { readCapabilities } from "./read-capabilities.ts";
import { type Role, RoleWorkers } from "./role-workers.ts";
import { WifiWatch } from "./wifi-watch.ts";
import type { WorkerLink } from "./worker-link.ts";

/** Intervals that are told in one turn of the loop by a host that is behind. */
const MOST_BEHIND = 100;

/** A run from `prepare` until its last report. */
interface Run {
  readonly task: AgentTask;
  readonly roles: readonly Role[];
  readonly workers: readonly WorkerLink[];
  readonly merge: IntervalMerge;
  readonly finished: Promise<IntervalReport>;
  readonly resolve: (report: IntervalReport) => void;
  isOn: boolean;
  startNs: number;
}

/** @throws {Fault} INTERFACE_UNKNOWN, AGENT_CANNOT */
export async function openDataPlane(options: DataPlaneOptions): Promise<DataPlane> {
  return new WorkerDataPlane(options, readCapabilities(options));
}

class WorkerDataPlane implements DataPlane {
  capabilities: AgentCapabilities;
  #options: DataPlaneOptions;
  readonly #control = new SharedControl();
  readonly #workers: RoleWorkers;
  readonly #intervalListeners: ((report: IntervalReport) => void)[] = [];
  readonly #troubleListeners: ((fault: unknown) => void)[] = [];
  #run: Run | null = null;
  #wifi: WifiWatch | null = null;
  #isClosed = false;

  constructor(options: DataPlaneOptions, capabilities: AgentCapabilities) {
    this.#options = options;
    this.capabilities = capabilities;
    this.#workers = new RoleWorkers(capabilities.sockets, this.#setup(), (role) => ({
      onInterval: (part) => this.#take(role, part),
      onTrouble: (fault) => this.#trouble(fault),
      onLost: (fault) => this.#lose(role, fault),
    }));
  }

  async prepare(task: AgentTask): Promise<void> {
    await this.#settle();
    await this.#workers.stay();
    if (this.#isClosed) throw new Fault("AGENT_CANNOT", "This agent is closing", "Start it again.");
    const { guards } = this.#options;
    const refusal = refuseTask(task, guards);
    if (refusal !== null) throw refusal;
    const kinds = new Set(task.actions.map((action) => action.kind));
    const follows = task.streams.some(({ production }) => production !== undefined);
    const watches = this.capabilities.watcher && watchedStreams(task, this.#options.guards).length > 0;
    // A task that follows streams of others has no sender, whatever it asks for.
    const roles: Role[] = [
      ...(kinds.has("emit") && !follows ? (["sender"] as const) : []),
      ...(kinds.has("join") || watches ? ([follows ? "follower" : "listener"] as const) : []),
    ];
    const senderIds = task.streams.map(() => this.#options.drawSenderId() >>> 0);
    this.#control.reset(monotonicNs());
    const workers: WorkerLink[] = [];
    for (const role of roles) workers.push(await this.#workers.get(role));
    try {
      for (const worker of workers) await worker.prepare(task, senderIds);
      // The host's file may have been read again meanwhile.
      const late = guards === this.#options.guards ? null : refuseTask(task, this.#options.guards);
      if (late !== null) throw late;
    } catch (refusal) {
      this.#workers.restLater();
      await this.#workers.discard();
      throw refusal;
    }
    const { promise: finished, resolve } = withResolve<IntervalReport>();
    const { index, isWireless } = this.capabilities.interface;
    if (isWireless !== false) this.#wifi ??= WifiWatch.open(index);
    this.#wifi?.restart();
    const counters = new HostCounters(this.capabilities.interface.name, this.capabilities.interface.index);
    this.#run = {
      task,
      roles,
      workers,
      merge: new IntervalMerge(roles.length === 0 ? ["idle"] : roles, counters, this.#wifi),
      finished,
      resolve,
      isOn: false,
      startNs: 0,
    };
  }

  go(startMonotonicNs: number): void {
    const run = this.#run;
    if (run === null || run.isOn) throw new Error("go without prepare");
    run.isOn = true;
    run.startNs = startMonotonicNs;
    this.#control.hear(monotonicNs());
    for (const worker of run.workers) worker.go(startMonotonicNs);
    if (run.roles.length === 0) this.#idleThrough(run);
  }

  onInterval(listener: (report: IntervalReport) => void): void {
    this.#intervalListeners.push(listener);
  }

  onTrouble(listener: (fault: unknown) => void): void {
    this.#troubleListeners.push(listener);
  }

  limit(limits: HostLimits): Fault | null {
    this.#options = { ...this.#options, ...limits };
    this.capabilities = { ...this.capabilities, guards: limits.guards };
    this.#workers.renew(this.#setup());
    return this.#run === null ? null : refuseTask(this.#run.task, limits.guards);
  }

  heard(): void {
    this.#control.hear(monotonicNs());
  }

  abort(_reason: string): void {
    this.#control.abort();
    if (this.#run?.isOn === false) void this.#settle(); // prepared only
  }

  finish(): Promise<IntervalReport> {
    if (this.#run === null) return Promise.reject(new Error("finish without a run"));
    return this.#run.finished;
  }

  async close(): Promise<void> {
    if (this.#isClosed) return;
    this.#isClosed = true;
    await this.#settle();
    this.#wifi?.close();
    await this.#workers.end();
  }

  /** Ends what is still on, and waits for its last report. */
  async #settle(): Promise<void> {
    const run = this.#run;
    if (run === null) return;
    this.#control.abort();
    if (run.isOn) await run.finished;
    this.#run = null;
    this.#workers.restLater();
    await this.#workers.discard();
  }

  #setup(): WorkerSetup {
    const { name, index, ipv4 } = this.capabilities.interface;
    return {
      interfaceName: name,
      interfaceIndex: index ?? 0,
      interfaceIpv4: ipv4,
      guards: this.#options.guards,
      contact: this.#options.contact,
      control: this.#control.memory,
    };
  }

  #take(role: Role, part: IntervalPart): void {
    const run = this.#run;
    if (run === null) return;
    for (const report of run.merge.add(role, part)) this.#emit(run, report);
  }

  #emit(run: Run, report: IntervalReport): void {
    for (const listener of this.#intervalListeners) listener(report);
    if (report.totals === null) return;
    this.#run = null;
    this.#workers.restLater();
    run.resolve(report);
  }

  #trouble(fault: Fault): void {
    for (const listener of this.#troubleListeners) listener(fault);
  }

  /** A thread that died reports no more; the other one's intervals still count. */
  #lose(role: Role, fault: Fault): void {
    this.#trouble(fault);
    const run = this.#run;
    if (run === null || !run.roles.includes(role)) return;
    for (const report of run.merge.lose(role)) this.#emit(run, report);
  }

  /** A host that neither sends nor joins still reports its counters, interval by interval. */
  #idleThrough(run: Run): void {
    const { intervalNs, endNs } = run.task;
    let index = 0;
    const report = (): boolean => {
      const toNs = Math.min((index + 1) * intervalNs, endNs);
      const isLast = toNs >= endNs || this.#control.isAborted;
      const totals = isLast ? { listeners: [], senders: [] } : null;
      const part = { index, fromNs: index * intervalNs, toNs, listeners: [], senders: [], wallClockSteps: null };
      for (const merged of run.merge.add("idle", { ...part, sourcesStopped: null, totals })) this.#emit(run, merged);
      index++;
      return isLast;
    };
    // A host that slept is behind by many intervals: they are told one after the other, a few in each turn of the loop.
    const tick = (): void => {
      for (let told = 0; this.#run === run && told < MOST_BEHIND; told++) {
        const leftMs = (run.startNs + Math.min((index + 1) * intervalNs, endNs) - monotonicNs()) / 1e6;
        if (leftMs > 0 && !this.#control.isAborted) {
          setTimeout(tick, Math.min(leftMs + 1, 50));
          return;
        }
        if (report()) return;
      }
      if (this.#run === run) setImmediate(tick);
    };
    tick();
  }
}

const monotonicNs = (): number => Number(process.hrtime.bigint());

function withResolve<T>(): { promise: Promise<T>; resolve: (value: T) => void } {
  let resolve: (value: T) => void = () => undefined;
  const promise = new Promise<T>((take) => {
    resolve = take;
  });
  return { promise, resolve };
}
