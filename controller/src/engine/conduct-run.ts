import {
  type AgentMessage,
  type ClockEstimate,
  Fault,
  type IntervalReport,
  type RunProgress,
  type WatcherReport,
} from "@dyetrace/wire";
import type { AgentRegistry } from "../service/agent-registry.ts";
import type { AgentSession, RunMessage } from "../service/agent-session.ts";
import { monotonicNs } from "../service/monotonic-clock.ts";
import type { CompiledRun } from "./compile-scenario.ts";
import { nextDeed } from "./next-deed.ts";
import type { RunGuard } from "./run-guard.ts";

/** Everything one agent said about a run. */
export interface AgentEvidence {
  readonly agent: string;
  /** By number, without repeats. */
  readonly reports: readonly IntervalReport[];
  /** What its watcher saw, in the same order; empty where it can't watch. */
  readonly watch: readonly WatcherReport[];
  /** Null: it never finished, so what it measured in its last seconds is unknown. */
  readonly final: IntervalReport | null;
  readonly clock: ClockEstimate | null;
  /** When its connection was lost for the last time, after the start; null if it was there to the end. */
  readonly lostAtNs: number | null;
  readonly troubles: readonly string[];
}

export interface RunEvidence {
  /** Wall-clock time of the start instant. */
  readonly startedAt: Date;
  readonly endedAt: Date;
  readonly agents: ReadonlyMap<string, AgentEvidence>;
  /** Agents of the plan that were not connected and had nothing to do but watch. */
  readonly absent: readonly string[];
  readonly isAborted: boolean;
  /** Why the controller stopped the run before its end by itself, in one sentence; null: it did not. */
  readonly stopReason: string | null;
}

const PREPARE_WITHIN_MS = 15_000;
/** From the order to the start: long enough for the order to reach every agent twice over. */
const LEAD_NS = 700e6;
/** After the planned end: the last reports travel. */
const REPORT_WITHIN_NS = 4e9;

/**
 * Carries out a compiled run on the connected agents and gathers what they report. Waiting for a lost agent ends a
 * stated time after the planned end; the evidence says who is missing.
 * @throws {Fault} AGENT_MISSING, AGENT_CANNOT: nothing was sent
 */
export async function conductRun(
  run: CompiledRun,
  registry: AgentRegistry,
  signal: AbortSignal,
  say: (progress: RunProgress) => void,
  onStart: (startNs: number, startedAt: Date) => void = () => {},
  guard: RunGuard | null = null,
): Promise<RunEvidence> {
  const { present, absent } = muster(run, registry);
  const crew = new Crew(run, present);
  let stopReason: string | null = null;
  const stop = (reason: string | null): void => {
    if (reason === null || stopReason !== null) return;
    stopReason = reason;
    order({ kind: "abort", runId: run.runId, reason });
  };
  const onMessage = (session: AgentSession, message: RunMessage): void => {
    crew.take(session, message);
    if (guard !== null && message.kind === "report" && message.runId === run.runId) {
      stop(guard.onReport(session.name, message));
    }
  };
  const onGone = (session: AgentSession): void => {
    crew.lost(session.name);
    if (guard !== null && crew.isUnderWay(session.name)) stop(guard.onGone(session.name));
  };
  registry.on("message", onMessage);
  registry.on("gone", onGone);
  const order = (message: Parameters<AgentSession["send"]>[0]): void => {
    for (const agent of present) registry.find(agent)?.send(message);
  };
  try {
    say({ kind: "step", text: `Preparing ${present.length} agents` });
    for (const agent of present) {
      const task = run.tasks.get(agent);
      if (task !== undefined) registry.find(agent)?.send({ kind: "prepare", runId: run.runId, task });
    }
    try {
      await crew.until(() => crew.isPrepared(), PREPARE_WITHIN_MS, signal);
      crew.checkPrepared();
    } catch (error) {
      order({
        kind: "abort",
        runId: run.runId,
        reason: "the run could not be prepared",
      });
      throw error;
    }
    const startNs = monotonicNs() + LEAD_NS;
    crew.begin(startNs);
    order({ kind: "go", runId: run.runId, startControllerNs: startNs });
    const startedAt = new Date(Date.now() + LEAD_NS / 1e6);
    onStart(startNs, startedAt);
    say({ kind: "go", startsInMs: LEAD_NS / 1e6, lastsMs: run.endNs / 1e6 });
    const seconds = setInterval(() => say(crew.progress()), 1000);
    const abort = (): void =>
      order({
        kind: "abort",
        runId: run.runId,
        reason: "stopped by the operator",
      });
    signal.addEventListener("abort", abort, { once: true });
    if (signal.aborted) abort();
    try {
      const deadlineNs = startNs + run.endNs + REPORT_WITHIN_NS;
      const isOver = (): boolean =>
        crew.isFinished() || ((signal.aborted || stopReason !== null) && crew.isSilent(2e9));
      await crew.until(isOver, (deadlineNs - monotonicNs()) / 1e6, null).catch((error: unknown) => {
        if (!(error instanceof TimeUp)) throw error;
      });
    } finally {
      clearInterval(seconds);
      signal.removeEventListener("abort", abort);
      if (!crew.isFinished()) order({ kind: "abort", runId: run.runId, reason: "the run is over" });
    }
    return {
      startedAt,
      endedAt: new Date(),
      agents: crew.evidence(),
      absent,
      isAborted: signal.aborted || stopReason !== null,
      stopReason,
    };
  } finally {
    registry.off("message", onMessage);
    registry.off("gone", onGone);
  }
}

function muster(run: CompiledRun, registry: AgentRegistry): { present: string[]; absent: string[] } {
  const present: string[] = [];
  const absent: string[] = [];
  const needed: string[] = [];
  for (const [agent, task] of run.tasks) {
    if (registry.find(agent) !== undefined) present.push(agent);
    else (task.actions.length > 0 ? needed : absent).push(agent);
  }
  if (needed.length === 0) return { present, absent };
  throw new Fault(
    "AGENT_MISSING",
    `${needed.length === 1 ? "Agent" : "Agents"} ${needed.join(", ")} ${needed.length === 1 ? "is" : "are"} not connected`,
    "Start them, or leave them out of the scenario",
  );
}

type ReportMessage = Extract<AgentMessage, { kind: "report" }>;

class TimeUp extends Error {}

interface Member {
  readonly reports: Map<number, ReportMessage>;
  state: "preparing" | "prepared" | "finished";
  refusal: Extract<AgentMessage, { kind: "refused" }> | null;
  final: IntervalReport | null;
  clock: ClockEstimate | null;
  lostAtNs: number | null;
  readonly troubles: string[];
}

/** The agents of one run and where each of them stands. */
class Crew {
  readonly #run: CompiledRun;
  readonly #members: ReadonlyMap<string, Member>;
  #startNs = 0;
  #heardNs = monotonicNs();
  #wake: () => void = () => {};

  constructor(run: CompiledRun, agents: readonly string[]) {
    this.#run = run;
    const member = (): Member => ({
      reports: new Map(),
      state: "preparing",
      refusal: null,
      final: null,
      clock: null,
      lostAtNs: null,
      troubles: [],
    });
    this.#members = new Map(agents.map((agent) => [agent, member()]));
  }

  begin(startNs: number): void {
    this.#startNs = startNs;
  }

  take(session: AgentSession, message: RunMessage): void {
    const member = this.#members.get(session.name);
    if (message.runId !== this.#run.runId || member === undefined) return;
    this.#heardNs = monotonicNs();
    switch (message.kind) {
      case "prepared":
        member.state = "prepared";
        member.clock = message.clock;
        break;
      case "refused":
        member.refusal = message;
        break;
      case "trouble":
        member.troubles.push(message.message);
        break;
      case "report":
        member.lostAtNs = null;
        member.reports.set(message.lastNumber, message);
        if (message.isFinal) {
          member.final = message.report;
          member.state = "finished";
        }
        break;
    }
    this.#wake();
  }

  lost(agent: string): void {
    const member = this.#members.get(agent);
    if (member === undefined || member.state === "finished") return;
    member.lostAtNs = this.#startNs === 0 ? 0 : monotonicNs() - this.#startNs;
    this.#wake();
  }

  isPrepared(): boolean {
    return [...this.#members.values()].every(
      (member) => member.state === "prepared" || member.refusal !== null || member.lostAtNs !== null,
    );
  }

  /** @throws {Fault} the first refusal, or AGENT_LOST */
  checkPrepared(): void {
    for (const [agent, { refusal, lostAtNs }] of this.#members) {
      if (refusal !== null) {
        const code = refusal.code === "GUARD_REFUSED" ? "GUARD_REFUSED" : "AGENT_CANNOT";
        throw new Fault(code, `${agent} refuses: ${refusal.message}`, refusal.hint);
      }
      if (lostAtNs !== null) throw new Fault("AGENT_LOST", `${agent} was lost before the run began`, "Start it again");
    }
  }

  /** Whether this agent takes part in a run that has begun, and still owes reports. */
  isUnderWay(agent: string): boolean {
    const member = this.#members.get(agent);
    return this.#startNs !== 0 && member !== undefined && member.state !== "finished";
  }

  isFinished(): boolean {
    return [...this.#members.values()].every((member) => member.state === "finished");
  }

  /** True when no agent has said anything for this long. */
  isSilent(durationNs: number): boolean {
    return monotonicNs() - this.#heardNs > durationNs;
  }

  progress(): RunProgress {
    let received = 0;
    for (const member of this.#members.values()) {
      for (const { report } of member.reports.values()) {
        for (const listener of report.listeners) received += listener.receipt?.received ?? 0;
      }
    }
    const atNs = monotonicNs() - this.#startNs;
    return { kind: "second", atMs: atNs / 1e6, receivedPackets: received, next: nextDeed(this.#run, atNs) };
  }

  evidence(): ReadonlyMap<string, AgentEvidence> {
    return new Map(
      [...this.#members].map(([agent, member]) => {
        const numbers = [...member.reports.keys()].sort((a, b) => a - b);
        const messages = numbers.flatMap((number) => member.reports.get(number) ?? []);
        const reports = messages.map((message) => message.report);
        const watch = messages.flatMap((message) => message.watch ?? []);
        const { final, clock, lostAtNs, troubles } = member;
        return [agent, { agent, reports, watch, final, clock, lostAtNs, troubles }];
      }),
    );
  }

  /** Waits until `isTrue`, looked at after every message and ten times a second. @throws {TimeUp} */
  async until(isTrue: () => boolean, withinMs: number, signal: AbortSignal | null): Promise<void> {
    const deadlineNs = monotonicNs() + withinMs * 1e6;
    while (!isTrue()) {
      if (signal?.aborted === true) throw new Fault("AGENT_LOST", "The run was stopped before it began", "");
      if (monotonicNs() > deadlineNs) {
        if (this.#startNs !== 0) throw new TimeUp();
        const silent = [...this.#members].filter(([, member]) => member.state === "preparing").map(([agent]) => agent);
        throw new Fault("AGENT_LOST", `No answer from ${silent.join(", ")}`, "Look at the agents' logs");
      }
      await new Promise<void>((resolve) => {
        const timer = setTimeout(resolve, 100);
        this.#wake = () => {
          clearTimeout(timer);
          resolve();
        };
      });
    }
  }
}
