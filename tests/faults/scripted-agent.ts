import { mkdirSync } from "node:fs";
import path from "node:path";
import { type AgentTask, DEFAULT_GUARDS, type IntervalReport } from "@dyetrace/wire";
import { pino } from "pino";
import { type AgentService, startAgentService } from "../../agent/src/control/agent-service.ts";
import { HostKeys } from "../../agent/src/control/host-keys.ts";
import type { DataPlane } from "../../agent/src/data-plane/data-plane.ts";
import type { Watcher } from "../../agent/src/watcher/open-watcher.ts";
import { reportOf, SimulatedListener } from "../bench/soak/simulated-reports.mjs";

/** A source that sent, by this process' monotonic clock, ns. */
export interface Emission {
  readonly agent: string;
  readonly runId: string;
  readonly fromNs: number;
  /** Null while it sends. */
  toNs: number | null;
  why: string;
}

/** What scripted agents did, whatever controllers say of it. */
export class Deeds {
  readonly emissions: Emission[] = [];
  /** Intervals that were measured, by `run agent`. */
  readonly intervals = new Map<string, number>();
  /** Packets that listeners counted, by `run agent`. */
  readonly packets = new Map<string, number>();
  readonly mistakes: string[] = [];
}

export const PACKETS_PER_SECOND = 10;
const nowNs = (): number => Number(process.hrtime.bigint());

/** Everything of an agent but packets: its own control code, spool and brakes, on a data plane that plays its task by the clock. */
class ScriptedPlane implements DataPlane {
  readonly capabilities: DataPlane["capabilities"];
  readonly #name: string;
  readonly #deeds: Deeds;
  #tell: (report: IntervalReport) => void = () => {};
  #heardNs = nowNs();
  #run: ScriptedRun | null = null;

  constructor(name: string, address: string, deeds: Deeds) {
    this.#name = name;
    this.#deeds = deeds;
    this.capabilities = {
      sockets: "portable",
      platform: "linux",
      osRelease: "",
      architecture: "",
      nodeVersion: process.version,
      kernelTimestamps: true,
      hostLossCount: true,
      ttlSeen: true,
      dscpSeen: true,
      destinationSeen: true,
      ssm: true,
      ipv6: false,
      watcher: true,
      interface: {
        ...{ name: "eth0", index: 1, ipv4: address, ipv6: [], mac: null },
        ...{ mtuBytes: 1500, speedBps: null, isUp: true, isWireless: false },
      },
      receiveBufferBytes: 4_000_000,
      guards: { ...DEFAULT_GUARDS, allowSending: true },
    };
  }

  async prepare(task: AgentTask): Promise<void> {
    if (this.#run?.isOn === true) this.#deeds.mistakes.push(`${this.#name}: prepared for ${task.runId} while at work`);
    const heardNs = (): number => this.#heardNs;
    const tell = (report: IntervalReport): void => this.#tell(report);
    this.#run = new ScriptedRun({ name: this.#name, task, deeds: this.#deeds, heardNs, tell });
  }

  go(startNs: number): void {
    this.#heardNs = nowNs();
    if (this.#run === null || this.#run.isOn) this.#deeds.mistakes.push(`${this.#name}: go twice, or without a task`);
    else this.#run.go(startNs);
  }

  onInterval(listener: (report: IntervalReport) => void): void {
    this.#tell = listener;
  }

  onTrouble(): void {}

  limit(): null {
    return null; // its host's file does not change
  }

  heard(): void {
    this.#heardNs = nowNs();
  }

  abort(reason: string): void {
    this.#run?.end(reason);
  }

  finish(): Promise<IntervalReport> {
    return this.#run?.over ?? Promise.reject(new Error("finish without a run"));
  }

  async close(): Promise<void> {
    this.#run?.end("closed");
  }
}

interface Playing {
  readonly name: string;
  readonly task: AgentTask;
  readonly deeds: Deeds;
  readonly heardNs: () => number;
  readonly tell: (report: IntervalReport) => void;
}

class ScriptedRun {
  isOn = false;
  readonly over: Promise<IntervalReport>;
  #over: (report: IntervalReport) => void = () => {};
  #timer: NodeJS.Timeout | undefined;
  #startNs = 0;
  #second = 0;
  #stopped: IntervalReport["sourcesStopped"] = null;
  readonly #sending = new Map<number, Emission>();
  readonly #listeners = new Map<number, SimulatedListener>();
  #nextAction = 0;

  readonly #with: Playing;

  constructor(playing: Playing) {
    this.#with = playing;
    this.over = new Promise((resolve) => {
      this.#over = resolve;
    });
  }

  go(startNs: number): void {
    this.isOn = true;
    this.#startNs = startNs;
    this.#timer = setInterval(() => this.#look(), 100);
  }

  end(why: string): void {
    if (!this.isOn) return;
    this.isOn = false;
    clearInterval(this.#timer);
    this.#silence(why, "aborted");
    this.#report(true);
  }

  #look(): void {
    const atNs = nowNs() - this.#startNs;
    if (atNs < 0) return;
    if (this.#sending.size > 0 && nowNs() - this.#with.heardNs() > this.#with.task.holdNs)
      this.#silence("hold time", "hold-time");
    for (let action = this.#with.task.actions[this.#nextAction]; action !== undefined && action.atNs <= atNs; ) {
      this.#act(action.kind, action.streamId);
      action = this.#with.task.actions[++this.#nextAction];
    }
    while (this.isOn && atNs >= (this.#second + 1) * this.#with.task.intervalNs) {
      if ((this.#second + 1) * this.#with.task.intervalNs >= this.#with.task.endNs) {
        this.isOn = false;
        clearInterval(this.#timer);
        this.#silence("deadline", "deadline");
        this.#report(true);
        return;
      }
      this.#report(false);
    }
  }

  #act(kind: string, streamId: number): void {
    if (kind === "emit" && this.#stopped === null) {
      const { runId } = this.#with.task;
      const going = this.#with.deeds.emissions.find(
        (one) => one.agent === this.#with.name && one.runId === runId && one.toNs === null,
      );
      if (going !== undefined) this.#with.deeds.mistakes.push(`${this.#with.name}: source of ${runId} begun twice`);
      const emission = { agent: this.#with.name, runId, fromNs: nowNs(), toNs: null, why: "" };
      this.#sending.set(streamId, emission);
      this.#with.deeds.emissions.push(emission);
    }
    if (kind === "stop") this.#end(streamId, "as planned");
    if (kind === "join") this.#listeners.set(streamId, new SimulatedListener(streamId, PACKETS_PER_SECOND));
    if (kind === "leave") this.#listeners.delete(streamId);
  }

  #end(streamId: number, why: string): void {
    const emission = this.#sending.get(streamId);
    if (emission !== undefined) Object.assign(emission, { toNs: nowNs(), why });
    this.#sending.delete(streamId);
  }

  #silence(detail: string, why: "hold-time" | "aborted" | "deadline"): void {
    if (this.#sending.size > 0 || why !== "deadline") {
      this.#stopped ??= { why, atNs: nowNs() - this.#startNs, detail };
    }
    for (const streamId of [...this.#sending.keys()]) this.#end(streamId, why);
  }

  #report(isFinal: boolean): void {
    const second = this.#second++;
    const entries = [...this.#listeners.values()].map((one) =>
      isFinal ? one.finish(second) : one.second(second, () => false),
    );
    const totals = isFinal ? { listeners: [], senders: [] } : null;
    const { report } = reportOf(second, entries, totals);
    const key = `${this.#with.task.runId} ${this.#with.name}`;
    this.#with.deeds.intervals.set(key, (this.#with.deeds.intervals.get(key) ?? 0) + 1);
    const counted = entries.reduce((sum, { receipt }) => sum + (receipt?.firstCopies ?? 0), 0);
    this.#with.deeds.packets.set(key, (this.#with.deeds.packets.get(key) ?? 0) + counted);
    const whole = { ...report, sourcesStopped: this.#stopped } as IntervalReport;
    this.#with.tell(whole);
    if (isFinal) this.#over(whole);
  }
}

const BLIND = {
  wake: async () => {},
  inability: null,
  watch: async () => {},
  snapshot: async () => null,
  close: async () => {},
} as unknown as Watcher;

/** @param urls of the controllers, in the order in which it tries them */
export function startScriptedAgent(
  {
    name,
    address,
    urls,
    key,
    folder,
  }: {
    readonly name: string;
    readonly address: string;
    readonly urls: readonly string[];
    readonly key: string;
    readonly folder: string;
  },
  deeds: Deeds,
): AgentService {
  const data = path.join(folder, name);
  mkdirSync(data, { recursive: true });
  return startAgentService({
    controllers: urls.map((url) => ({ url, pin: null })),
    keys: new HostKeys(null, key, null),
    name,
    dataPlane: new ScriptedPlane(name, address, deeds),
    watcher: BLIND,
    log: pino({ level: process.env["DYETRACE_LOG"] ?? "silent" }, pino.destination(2)),
    spoolFolder: path.join(data, "spool"),
    dataFolder: data,
    spoolMostBytes: 8e6,
    lacks: null,
    upgrade: null,
  });
}
