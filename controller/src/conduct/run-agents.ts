import { type AgentMessage, type ClockEstimate, Fault, type IntervalReport, type RunProgress } from "@dyetrace/wire";
import { type AgentEvidence, LONG_RUN_NS } from "../account/run-evidence.ts";
import type { AgentSession, RunMessage } from "../agents/agent-session.ts";
import { monotonicNs } from "../agents/monotonic-clock.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { nextAction } from "./next-action.ts";
import { cancelledUnbegun } from "./stop-order.ts";

type ReportMessage = Extract<AgentMessage, { kind: "report" }>;

export class TimeUp extends Error {}

/** Troubles of one agent that are noted; whoever has more says the same again and again. */
const MOST_TROUBLES = 50;

interface Member {
  /** In order of arrival, without repeats; empty in a long run. */
  readonly reports: ReportMessage[];
  /** Numbers of the newest stint up to here have arrived. */
  stint: string | null;
  lastNumber: number;
  stints: number;
  state: "preparing" | "prepared" | "finished";
  refusal: Extract<AgentMessage, { kind: "refused" }> | null;
  final: IntervalReport | null;
  clock: ClockEstimate | null;
  lostAtNs: number | null;
  readonly troubles: string[];
  /** It sent a report that cannot be true: none of its figures count. */
  isDoubted: boolean;
}

function doubt(member: Member): void {
  member.isDoubted = true;
  member.reports.length = 0;
  member.final = null;
  member.state = "finished";
}

/**
 * The agents of one run and where each of them stands. Reports of a long run are not kept here: they are in the store,
 * and would fill the memory.
 */
export class RunAgents {
  readonly #run: CompiledRun;
  readonly #members: ReadonlyMap<string, Member>;
  readonly #keepsReports: boolean;
  #startNs = 0;
  #receivedPackets = 0;
  #endReason: string | null = null;
  #heardNs = monotonicNs();
  readonly #openNs: number;
  #wake: () => void = () => {};

  /**
   * @param keepsReports false where the store is asked for them anyway
   * @param openNs since when agents could connect, on the monotonic clock
   */
  constructor(
    run: CompiledRun,
    agents: readonly string[],
    keepsReports: boolean = run.endNs <= LONG_RUN_NS,
    openNs: number = monotonicNs(),
  ) {
    this.#run = run;
    this.#keepsReports = keepsReports;
    this.#openNs = openNs;
    const member = (): Member => ({
      reports: [],
      stint: null,
      lastNumber: 0,
      stints: 0,
      state: "preparing",
      refusal: null,
      final: null,
      clock: null,
      lostAtNs: null,
      troubles: [],
      isDoubted: false,
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
        if (member.troubles.length < MOST_TROUBLES) member.troubles.push(message.message);
        if (message.code === "MESSAGE_INVALID") doubt(member);
        break;
      case "report":
        this.#takeReport(member, message);
        break;
    }
    this.#wake();
  }

  #takeReport(member: Member, message: ReportMessage): void {
    if (member.isDoubted) return;
    const { stint, lastNumber, isFinal, report } = message;
    member.lostAtNs = null;
    if (stint !== member.stint) {
      member.stint = stint;
      member.lastNumber = 0;
      member.stints++;
    }
    if (lastNumber <= member.lastNumber) return; // sent again after a reconnect
    member.lastNumber = lastNumber;
    if (this.#keepsReports) member.reports.push(message);
    for (const listener of report.listeners) this.#receivedPackets += listener.receipt?.received ?? 0;
    // A stint that ends early is followed by another, unless all of them end.
    if (!isFinal || (this.#endReason === null && report.toNs < this.#run.endNs - this.#intervalNs)) return;
    member.final = report;
    member.state = "finished";
  }

  get #intervalNs(): number {
    return this.#run.tasks.values().next().value?.intervalNs ?? 1e9;
  }

  /** The run is being stopped: each agent's next last report ends its part. The first reason stands. */
  end(reason: string): void {
    this.#endReason ??= reason;
  }

  /** Why the run is being stopped; null while it is not. */
  get endReason(): string | null {
    return this.#endReason;
  }

  /** What an earlier controller had stored of it: that agent's part is over. */
  setFinished(agent: string): void {
    const member = this.#members.get(agent);
    if (member !== undefined) member.state = "finished";
  }

  /** True where one agent's work was interrupted, so that its last report does not tell of all of it. */
  get isInPieces(): boolean {
    return [...this.#members.values()].some((member) => member.stints > 1);
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

  get sinceStartNs(): number {
    return monotonicNs() - this.#startNs;
  }

  isFinished(): boolean {
    return [...this.#members.values()].every((member) => member.state === "finished");
  }

  /** True when no agent has said anything for this long. */
  isSilent(durationNs: number): boolean {
    return monotonicNs() - this.#heardNs > durationNs;
  }

  /** True where an agent that owes reports was not heard yet, or was lost, within this time: it may be on its way back. */
  mayComeBack(withinNs: number): boolean {
    return [...this.#members.values()].some(({ state, stint, lostAtNs }) => {
      if (state === "finished") return false;
      const sinceNs = lostAtNs !== null ? this.#startNs + lostAtNs : stint === null ? this.#openNs : null;
      return sinceNs !== null && monotonicNs() - sinceNs < withinNs;
    });
  }

  progress(): RunProgress {
    const atNs = monotonicNs() - this.#startNs;
    return {
      kind: "second",
      atMs: atNs / 1e6,
      receivedPackets: this.#receivedPackets,
      next: nextAction(this.#run, atNs),
    };
  }

  evidence(): ReadonlyMap<string, AgentEvidence> {
    return new Map(
      [...this.#members].map(([agent, member]) => {
        const reports = member.reports.map((message) => message.report);
        const watch = member.reports.flatMap((message) => message.watch ?? []);
        const { final, clock, lostAtNs, troubles, isDoubted } = member;
        return [agent, { agent, reports, watch, final, clock, lostAtNs, troubles, isDoubted }];
      }),
    );
  }

  /** Waits until `isTrue`, looked at after every message and ten times a second. @throws {TimeUp} */
  async until(isTrue: () => boolean, withinMs: number, signal: AbortSignal | null): Promise<void> {
    const deadlineNs = monotonicNs() + withinMs * 1e6;
    while (!isTrue()) {
      if (signal?.aborted === true) throw cancelledUnbegun(signal);
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
