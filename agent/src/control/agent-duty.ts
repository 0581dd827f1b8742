import { randomBytes } from "node:crypto";
import { type AgentTask, type ControllerMessage, Fault, type IntervalReport } from "@dyetrace/wire";
import type { Logger } from "pino";
import { STOPPED_ON_HOST } from "../config/host-stop.ts";
import type { DataPlane } from "../data-plane/data-plane.ts";
import type { Watcher } from "../watcher/open-watcher.ts";
import { asRefusal } from "./as-refusal.ts";
import { clockOf } from "./clock-of-controller.ts";
import type { ControllerLink } from "./controller-link.ts";
import { HostNotes } from "./host-notes.ts";
import { remainingTask } from "./remaining-task.ts";
import type { ReportSender } from "./report-sender.ts";
import { shiftReport } from "./shift-report.ts";

/** What the agent is doing for its controller right now. */
type Duty =
  | { readonly kind: "idle" }
  /** An end that is ordered meanwhile takes the place of this, and what was being prepared is not begun. */
  | { readonly kind: "preparing"; readonly runId: string }
  | { readonly kind: "prepared"; readonly runId: string; readonly task: AgentTask }
  | Stint;

/** One uninterrupted piece of work in a run. */
interface Stint {
  readonly kind: "running";
  readonly runId: string;
  readonly stint: string;
  /** How long after the run's start its task began. */
  readonly shiftNs: number;
  readonly notes: HostNotes;
  nextNumber: number;
  isSourceStopped: boolean;
}

type Message<Kind extends ControllerMessage["kind"]> = Extract<ControllerMessage, { kind: Kind }>;

export interface AgentDutyOptions {
  readonly dataPlane: DataPlane;
  readonly watcher: Watcher;
  readonly log: Logger;
  readonly link: Pick<ControllerLink, "send" | "clock">;
  readonly sender: Pick<ReportSender, "add">;
  readonly hostStop: { readonly isStopped: boolean };
  /** Its threads are there, and nothing is sent or heard yet: the time for whatever would disturb packets later. */
  readonly onPrepared?: () => void;
}

const STOPPED_HERE = `sending ${STOPPED_ON_HOST}`;
/** A run begins about now: whoever says otherwise has another clock, and all of its timeline would be done at once, or never. */
const MOST_LEAD_NS = 60e9;
/** A task that is taken up again begins at a whole interval at least this far ahead: sockets must be opened first. */
const RESUME_LEAD_NS = 500e6;
/** Leaves and late frames of a run are kept as well. */
const KEEPS_ON_NS = 2e9;

/** The one run that an agent carries out: its task from preparation to the last report. */
export class AgentDuty {
  readonly #with: AgentDutyOptions;
  #duty: Duty = { kind: "idle" };
  /** What the data plane is at, until its last report: also when its end was ordered and something else waits. */
  #carriedOut: Stint | null = null;
  // One report after the other: a snapshot of the watcher is awaited, and reports must keep their order.
  #turn: Promise<void> = Promise.resolve();
  // One preparation after the other, whether for a new run or for the rest of one.
  #preparing: Promise<void> = Promise.resolve();

  constructor(options: AgentDutyOptions) {
    this.#with = options;
    const { dataPlane, log, link } = options;
    dataPlane.onInterval((report) => {
      // Whose report it is stands now: when its turn comes, another run may have begun.
      const stint = this.#carriedOut;
      if (stint === null) return;
      if (report.totals !== null) this.#carriedOut = null;
      const failed = (err: unknown): void => log.error({ err, runId: stint.runId }, "a report could not be made");
      const over = (): void => {
        if (report.totals !== null && this.#duty === stint) this.#duty = { kind: "idle" };
      };
      this.#turn = this.#turn
        .then(() => this.#report(report, stint))
        .catch(failed)
        .then(over);
    });
    dataPlane.onTrouble((error) => {
      if (this.runId === null) return;
      log.warn({ err: error, runId: this.runId }, "trouble in the data plane");
      link.send({ kind: "trouble", runId: this.runId, ...asRefusal(error) });
    });
  }

  /** The run that it is prepared for or busy with; null when idle. */
  get runId(): string | null {
    return this.#duty.kind === "idle" ? null : this.#duty.runId;
  }

  prepare(message: Message<"prepare">): void {
    if (this.#duty.kind === "running") this.#with.dataPlane.abort("the controller began another run");
    const preparing: Duty = { kind: "preparing", runId: message.runId };
    this.#duty = preparing;
    this.#preparing = this.#preparing.then(() => this.#prepare(message, preparing));
  }

  async #prepare({ runId, task }: Message<"prepare">, preparing: Duty): Promise<void> {
    const { dataPlane, watcher, log, link } = this.#with;
    if (this.#duty !== preparing) return; // ended, or another run was ordered
    try {
      this.#refuseStopped();
      await Promise.all([dataPlane.prepare(task), watcher.wake()]);
      if (this.#duty !== preparing) {
        dataPlane.abort("ended before it was prepared");
        return;
      }
      this.#duty = { kind: "prepared", runId, task };
      this.#with.onPrepared?.();
      link.send({ kind: "prepared", runId, clock: link.clock() });
    } catch (error) {
      if (this.#duty === preparing) this.#duty = { kind: "idle" };
      log.warn({ err: error, runId }, "run refused");
      link.send({ kind: "refused", runId, ...asRefusal(error) });
    }
  }

  go({ runId, startControllerNs }: Message<"go">): void {
    const { link } = this.#with;
    const clock = link.clock();
    const startNs = startControllerNs - (clock?.offsetNs ?? 0);
    const aheadNs = startNs - Number(process.hrtime.bigint());
    const isPrepared = this.#duty.kind === "prepared" && this.#duty.runId === runId;
    const why = !isPrepared
      ? "It was told to begin a run that it is not prepared for"
      : clock === null
        ? "It was told to begin before it knew the controller's clock"
        : Math.abs(aheadNs) > MOST_LEAD_NS
          ? `It was told to begin ${(aheadNs / 1e9).toFixed(1)} s from now`
          : null;
    if (why !== null) link.send({ kind: "trouble", runId, code: "AGENT_CANNOT", message: why, hint: "" });
    else if (this.#duty.kind === "prepared") this.#begin(this.#duty.task, startNs, 0);
  }

  resume(message: Message<"resume">): void {
    const { runId } = message;
    if (this.#duty.kind === "running" && this.#duty.runId === runId && !this.#duty.isSourceStopped) return; // at it all the time
    if (this.#duty.kind === "running") this.#with.dataPlane.abort("the run is taken up again");
    const preparing: Duty = { kind: "preparing", runId };
    this.#duty = preparing;
    this.#preparing = this.#preparing.then(() => this.#resume(message, preparing));
  }

  /** Whoever sits at this host wants an end: of whatever it is. @param reason what the controller is told */
  stop(reason: string = STOPPED_HERE): void {
    const { runId } = this;
    this.#with.dataPlane.abort(reason);
    if (runId === null) return;
    this.#with.link.send({ kind: "trouble", runId, code: "GUARD_REFUSED", message: reason, hint: "" });
    this.abort({ kind: "abort", runId, reason });
  }

  /** @throws {Fault} GUARD_REFUSED */
  #refuseStopped(): void {
    if (!this.#with.hostStop.isStopped) return;
    throw new Fault(
      "GUARD_REFUSED",
      STOPPED_HERE,
      "Run `dyetrace-agent allow` on that host, with --data and the folder of its agent",
    );
  }

  abort({ runId, reason }: Message<"abort">): void {
    if (this.runId !== runId) return;
    this.#with.dataPlane.abort(reason);
    if (this.#duty.kind !== "running") this.#duty = { kind: "idle" }; // a run that is on ends with its last report
  }

  async #report(report: IntervalReport, stint: Stint): Promise<void> {
    const { runId, shiftNs, notes } = stint;
    stint.isSourceStopped ||= report.sourcesStopped?.why === "hold-time";
    const isFinal = report.totals !== null;
    const watch = await this.#with.watcher.snapshot();
    notes.seen(watch);
    const told = isFinal ? await notes.complete(report) : report;
    const number = stint.nextNumber++;
    const numbers = { firstNumber: number, lastNumber: number, droppedReports: 0 };
    const shifted = shiftReport(told, shiftNs);
    this.#with.sender.add({ kind: "report", runId, stint: stint.stint, ...numbers, report: shifted, watch, isFinal });
  }

  /** @param shiftNs how long after the run's start this task begins */
  #begin(task: AgentTask, runStartNs: number, shiftNs: number): void {
    const { dataPlane, watcher, log } = this.#with;
    const { runId, streams } = task;
    const stint: Stint = {
      kind: "running",
      runId,
      stint: randomBytes(8).toString("hex"),
      shiftNs,
      notes: new HostNotes(task, dataPlane.capabilities.interface.name),
      nextNumber: 1,
      isSourceStopped: false,
    };
    this.#duty = stint;
    this.#carriedOut = stint;
    dataPlane.go(runStartNs + shiftNs);
    const watched = streams.filter(({ companionOf }) => companionOf === undefined);
    void watcher.watch({
      runId,
      startMonotonicNs: runStartNs,
      streams: watched,
      looksForUse: task.looksForUse === true,
      ...(task.keepsHeaders === undefined
        ? {}
        : { keepsHeaders: { roomBytes: task.keepsHeaders, untilNs: shiftNs + task.endNs + KEEPS_ON_NS } }),
    });
    dataPlane.finish().catch((error: unknown) => log.error({ err: error }, "the run did not finish"));
  }

  async #resume({ runId, task, startControllerNs }: Message<"resume">, preparing: Duty): Promise<void> {
    const { dataPlane, watcher, log, link } = this.#with;
    if (this.#duty !== preparing) return; // ended, or another run was ordered
    try {
      // What it was at ends first, so that its last report goes out before the next begins.
      if (this.#carriedOut !== null) await dataPlane.finish().catch(() => undefined);
      const clock = await clockOf(link);
      if (clock === null) throw new Fault("AGENT_CANNOT", "The controller's clock could not be told", "");
      const startNs = startControllerNs - clock.offsetNs;
      const fromNs = Number(process.hrtime.bigint()) - startNs + RESUME_LEAD_NS;
      const shiftNs = Math.ceil(Math.max(0, fromNs) / task.intervalNs) * task.intervalNs;
      const isOver = shiftNs >= task.endNs;
      if (isOver || this.#duty !== preparing) {
        if (this.#duty === preparing) this.#duty = { kind: "idle" };
        return;
      }
      this.#refuseStopped();
      const rest = remainingTask(task, shiftNs);
      await Promise.all([dataPlane.prepare(rest), watcher.wake()]);
      if (this.#duty !== preparing) {
        dataPlane.abort("ended before it was taken up again");
        return;
      }
      this.#begin(rest, startNs, shiftNs);
      log.info({ runId, shiftNs }, "run taken up again");
    } catch (error) {
      if (this.#duty === preparing) this.#duty = { kind: "idle" };
      log.warn({ err: error, runId }, "run not taken up again");
      link.send({ kind: "trouble", runId, ...asRefusal(error) });
    }
  }
}
