import { EventEmitter } from "node:events";
import { Fault, withoutControls } from "@dyetrace/wire";
import type { Logger } from "pino";
import type { AgentSession } from "../agents/agent-session.ts";
import type { KeepOutcome } from "../store/keep-reports.ts";
import type { KeptReport } from "../store/pack/kept-report.ts";
import type { Store } from "../store/store.ts";
import { type AwaitedReports, awaitedReports } from "./awaited-reports.ts";
import { prepareReport, type ReportMessage, sizeOfPrepared } from "./prepare-report.ts";
import { sendsAgain, tellStored } from "./tell-stored.ts";
import { isOfReport, isOfStore } from "./whose-failure.ts";

export interface IntakeEvents {
  /** In the store and acknowledged; not for one that was there before. */
  kept: [KeptReport];
  /** This one report can't be stored, and never will: it is left out, and its agent need not keep it. */
  unusable: [session: AgentSession, report: Pick<ReportMessage, "runId" | "firstNumber" | "lastNumber">, why: string];
  /** A batch was written. */
  wrote: [reports: number, seconds: number];
  /** The store can't take reports at present; agents hold them back. Null: it can again. */
  trouble: [unknown];
}

interface Waiting {
  readonly session: AgentSession;
  readonly report: KeptReport;
}

/** Reports that arrive within this time share one transaction. */
const GATHER_MS = 20;
const MOST_AT_ONCE = 500;
const RETRY_MS = 2000;
/** What may wait for the store: 1000 agents with 32 usual reports under way each, and room (agents keep the rest). */
const MOST_WAITING_BYTES = 128 * 1024 * 1024;

/**
 * The door that every report comes through: it is stored first and acknowledged then. While the store can't take any,
 * nothing is acknowledged, agents keep what they have, and the intake tries again. A report that cannot be stored whatever
 * the store's state holds up nobody else: it is left out, and said to be.
 */
export class ReportIntake extends EventEmitter<IntakeEvents> {
  readonly #store: Store;
  readonly #log: Logger;
  readonly #mostWaitingBytes: number;
  #waiting: Waiting[] = [];
  #waitingBytes = 0;
  /** Reports that came without those before them, in a store that was put back from an older copy. */
  readonly #awaited: AwaitedReports = awaitedReports();
  /** Connections of which a report found no room: what follows must not be acknowledged before it, so they begin anew. */
  readonly #turned = new Set<AgentSession>();
  #timer: NodeJS.Timeout | undefined;
  #writing: Promise<void> | null = null;
  #isTroubled = false;
  #isClosed = false;

  constructor(store: Store, log: Logger, mostWaitingBytes: number = MOST_WAITING_BYTES) {
    super();
    this.#store = store;
    this.#log = log;
    this.#mostWaitingBytes = mostWaitingBytes;
  }

  get isTroubled(): boolean {
    return this.#isTroubled;
  }

  /** What waits for the store, bytes. */
  get waitingBytes(): number {
    return this.#waitingBytes;
  }

  take(session: AgentSession, message: ReportMessage): void {
    if (this.#isClosed || this.#turned.has(session)) return;
    let report: KeptReport;
    try {
      const mustFollow = sendsAgain(session) && !this.#awaited.isPassedOver(message);
      report = prepareReport(session.name, message, mustFollow);
    } catch (error) {
      this.#leaveOut(session, message, error);
      return;
    }
    if (this.#waitingBytes > this.#mostWaitingBytes) {
      if (this.#turned.size === 0) this.#log.error("too many reports wait for the store; agents keep theirs");
      this.#turned.add(session);
      return;
    }
    this.#waiting.push({ session, report });
    this.#waitingBytes += sizeOfPrepared(report);
    if (this.#waiting.length >= MOST_AT_ONCE && !this.#isTroubled) this.#flush();
    else this.#timer ??= setTimeout(() => this.#flush(), this.#isTroubled ? RETRY_MS : GATHER_MS);
  }

  /** Whether reports of a run are on their way that were stored once, in a store that has been put back since. */
  isAwaiting = (runId: string): boolean => this.#awaited.isAwaiting(runId, performance.now());

  /** Writes what has arrived so far. */
  async settle(): Promise<void> {
    while (this.#waiting.length > 0 && !this.#isTroubled) {
      this.#flush();
      await this.#writing;
    }
    await this.#writing;
  }

  async close(): Promise<void> {
    await this.settle();
    this.#isClosed = true;
    clearTimeout(this.#timer);
  }

  #flush(): void {
    clearTimeout(this.#timer);
    this.#timer = undefined;
    if (this.#writing !== null || this.#waiting.length === 0) return;
    const batch = this.#waiting.splice(0, MOST_AT_ONCE);
    this.#writing = this.#write(batch).finally(() => {
      this.#writing = null;
      if (this.#waiting.length > 0 && !this.#isClosed) {
        this.#timer ??= setTimeout(() => this.#flush(), this.#isTroubled ? RETRY_MS : 0);
      }
    });
  }

  async #write(batch: readonly Waiting[]): Promise<void> {
    const startedMs = performance.now();
    let left: readonly Waiting[];
    try {
      left = await this.#keep(batch);
    } catch (error) {
      left = isOfStore(this.#store.fault(error)) ? this.#setTrouble(error, batch) : await this.#keepEach(batch);
    }
    this.#waiting = [...left, ...this.#waiting];
    const written = batch.length - left.length;
    if (written > 0) this.emit("wrote", written, (performance.now() - startedMs) / 1000);
    if (left.length === 0) this.#endTrouble();
  }

  /** All of them in one transaction. @throws whatever the store threw; nothing is stored then */
  async #keep(batch: readonly Waiting[]): Promise<readonly Waiting[]> {
    const outcomes = await this.#store.reports.keep(batch.map(({ report }) => report));
    for (const [index, one] of batch.entries()) this.#stored(one, outcomes[index]);
    return [];
  }

  /**
   * One by one, after all together failed and the store itself seems well: what fails for a reason of its own is left out. A
   * failure that says neither is the report's where others could be stored beside it, and the store's where none could.
   * @returns those that still wait
   */
  async #keepEach(batch: readonly Waiting[]): Promise<readonly Waiting[]> {
    const unclear: { readonly one: Waiting; readonly error: unknown }[] = [];
    let isAnyStored = false;
    for (const [index, one] of batch.entries()) {
      try {
        await this.#keep([one]);
        isAnyStored = true;
      } catch (error) {
        if (isOfStore(this.#store.fault(error))) {
          return this.#setTrouble(error, [...unclear.map((other) => other.one), ...batch.slice(index)]);
        }
        if (isOfReport(error)) this.#leaveOutWaiting(one, error);
        else unclear.push({ one, error });
      }
    }
    if (isAnyStored) for (const { one, error } of unclear) this.#leaveOutWaiting(one, error);
    else if (unclear[0] !== undefined) {
      return this.#setTrouble(
        unclear[0].error,
        unclear.map(({ one }) => one),
      );
    }
    return [];
  }

  #stored({ session, report }: Waiting, outcome: KeepOutcome | undefined): void {
    this.#waitingBytes -= sizeOfPrepared(report);
    const { runId, stint, lastNumber } = report;
    if (outcome === "gap") {
      this.#askAgain(session, report);
      return;
    }
    this.#awaited.arrived(report, performance.now());
    // What belongs to no run here would otherwise come for ever.
    session.send({ kind: "ack", runId, stint, lastNumber });
    if (outcome === "kept") this.emit("kept", report);
    const about = { agent: session.name, runId, stint, lastNumber };
    if (outcome === "overlap") this.#log.warn(about, "report left out: it repeats a part of what is stored");
    // The look and the ramp before a run are not stored either.
    if (outcome === "unknown-run") this.#log.debug(about, "report left out: it belongs to no stored run");
  }

  #askAgain(session: AgentSession, report: KeptReport): void {
    const { runId, stint, firstNumber } = report;
    if (!this.#awaited.ask(session, report, performance.now())) return;
    this.#log.warn({ agent: session.name, runId, stint, firstNumber }, "reports before this one are not in the store");
    tellStored(this.#store, session, runId).catch((error: unknown) =>
      this.#log.error({ err: this.#store.fault(error), runId }, "an agent could not be told what is stored"),
    );
  }

  #leaveOutWaiting({ session, report }: Waiting, error: unknown): void {
    this.#waitingBytes -= sizeOfPrepared(report);
    this.#leaveOut(session, { ...report, report }, error);
  }

  #leaveOut(
    session: AgentSession,
    { runId, stint, firstNumber, lastNumber, report: { fromNs, toNs } }: LeftOut,
    error: unknown,
  ): void {
    const agent = session.name;
    this.#awaited.passOver(runId, stint, lastNumber);
    this.#log.error({ err: error, agent, runId, stint, lastNumber }, "report left out: it cannot be stored");
    session.send({ kind: "ack", runId, stint, lastNumber });
    const why = withoutControls(String(error)).slice(0, 200);
    const detail = `the controller could not store it: ${why}`;
    const count = lastNumber - firstNumber + 1;
    // Best effort: where the run is unknown or the store is down there is nothing to note it at.
    void this.#store.reports
      .addEpisodes(runId, [{ kind: "dropped", agent, streamId: null, fromNs, toNs, count, detail }])
      .catch(() => undefined);
    this.emit("unusable", session, { runId, firstNumber, lastNumber }, why);
  }

  #setTrouble(error: unknown, left: readonly Waiting[]): readonly Waiting[] {
    const fault = this.#store.fault(error);
    if (!this.#isTroubled) this.#log.error({ err: fault }, "the store takes no reports; agents keep theirs");
    this.#isTroubled = true;
    this.emit("trouble", fault);
    return left;
  }

  #endTrouble(): void {
    if (this.#isTroubled) {
      this.#isTroubled = false;
      this.#log.info("the store takes reports again");
      this.emit("trouble", null);
    }
    if (this.#turned.size === 0 || this.#waitingBytes > this.#mostWaitingBytes / 2) return;
    for (const session of this.#turned) session.turnAway(noRoom(session.name));
    this.#turned.clear();
  }
}

type LeftOut = Pick<ReportMessage, "runId" | "stint" | "firstNumber" | "lastNumber"> & {
  readonly report: { readonly fromNs: number; readonly toNs: number };
};

const noRoom = (agent: string): Fault =>
  new Fault("TOO_MANY", `The store had no room for the reports of ${agent}; there is room again`, "");
