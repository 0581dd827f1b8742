import type { AgentTask, Guards, SenderInterval, SourceStop, TaskAction } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";
import type { SendBudget } from "../guards/send-budget.ts";
import { SendingGuard } from "../guards/sending-guard.ts";
import type { SharedControl } from "../workers/shared-control.ts";
import type { IntervalPart } from "../workers/worker-protocol.ts";
import { DueQueue } from "./due-queue.ts";
import { CATCH_UP_NS, type StreamSource } from "./stream-source.ts";

export interface SenderRunOptions {
  readonly task: AgentTask;
  /** One for each stream of the task that this host sends. */
  readonly sources: readonly StreamSource[];
  readonly guards: Guards;
  /** What the sources' sockets spend; null where nothing counts it. */
  readonly budget: SendBudget | null;
  readonly control: SharedControl;
  readonly clock: () => number;
  readonly onInterval: (part: IntervalPart) => void;
  readonly onRefused: (refusal: Fault) => void;
}

/** Longest time that sources with much to catch up, or to begin, go on without a look at the brakes. */
const LONGEST_STEP_NS = 20e6;
/** A flood shows within this time of the first packet (common practice, no source). */
const EARLY_NS = 2e9;
/** As much as a report may say of it. */
const MOST_DETAIL = 500;
/** The hold time of a run that does not say another. */
const EARLY_HOLD_NS = 5e9;

/**
 * The sources of one run: one schedule for all of them. `step` does what is due and says when to come back; who sleeps
 * in between, and how, is the caller's affair. Brakes are looked at in every step: abort, deadline, hold time.
 */
export class SenderRun {
  readonly #options: SenderRunOptions;
  readonly #actions: readonly TaskAction[];
  readonly #numberOf: ReadonlyMap<number, number>;
  readonly #queue: DueQueue;
  readonly #sending: SendingGuard;
  readonly #startNs: number;
  readonly #deadlineNs: number;
  #firstEmitNs = Number.NEGATIVE_INFINITY;
  #nextAction = 0;
  #index = 0;
  #cutNs = 0;
  #stopped: IntervalPart["sourcesStopped"] = null;
  #isOver = false;

  /** @param startNs the run's start on the monotonic clock */
  constructor(options: SenderRunOptions, startNs: number, startWallNs: bigint) {
    this.#options = options;
    options.budget?.forgive();
    this.#startNs = startNs;
    this.#deadlineNs = startNs + Math.min(options.task.endNs, options.guards.maxDurationNs);
    this.#numberOf = new Map(options.sources.map((source, number) => [source.stream.streamId, number]));
    this.#actions = options.task.actions.filter(
      (action) => action.kind !== "join" && action.kind !== "leave" && this.#numberOf.has(action.streamId),
    );
    this.#queue = new DueQueue(options.sources.length);
    this.#sending = new SendingGuard(options.guards);
    for (const [number, source] of options.sources.entries()) {
      source.anchor(startNs, startWallNs);
      source.onSettled = () => {
        if (source.isSending) this.#queue.put(number, source.nextDueNs);
      };
    }
  }

  /** The last report is out. */
  get isOver(): boolean {
    return this.#isOver;
  }

  /** @returns when to come back on the monotonic clock, ns; a brake may need an earlier look */
  step(): number {
    const nowNs = this.#options.clock();
    const endNs = this.#startNs + this.#options.task.endNs;
    this.#brake(nowNs);
    this.#cutUntil(Math.min(nowNs, endNs));
    if (nowNs >= endNs || (this.#options.control.isAborted && this.#stopped !== null)) {
      this.#finish(Math.min(nowNs, endNs));
      return nowNs;
    }
    this.#act(nowNs);
    while (this.#queue.nextNs <= nowNs) {
      const number = this.#queue.next;
      const source = this.#source(number);
      const sendNs = this.#options.clock();
      if (sendNs - nowNs > LONGEST_STEP_NS) break; // a look at the brakes first
      source.sendDue(sendNs);
      this.#queue.put(number, source.nextDueNs);
    }
    const actionNs = this.#startNs + (this.#actions[this.#nextAction]?.atNs ?? Number.POSITIVE_INFINITY);
    return Math.min(this.#queue.nextNs, actionNs, this.#startNs + this.#nextCutNs(), endNs);
  }

  #brake(nowNs: number): void {
    if (this.#stopped !== null) return;
    const { control } = this.#options;
    const silentNs = control.silentNs(nowNs);
    if (this.#options.budget?.isExceeded === true) {
      const refusal = new Fault("GUARD_REFUSED", "More would have left this host than it allows", "See its guards.");
      this.#stopAll("guard", nowNs, refusal.message);
      this.#options.onRefused(refusal);
    } else if (control.isAborted) this.#stopAll("aborted", nowNs, "the run was aborted");
    else if (nowNs >= this.#deadlineNs) {
      const isPlanned = !this.#options.sources.some((source) => source.isSending);
      this.#stopAll(isPlanned ? "as-planned" : "deadline", nowNs, isPlanned ? "" : "the deadline has passed");
    } else if (nowNs > this.#startNs && silentNs > this.#holdNs(nowNs - silentNs)) {
      this.#stopAll("hold-time", nowNs, `the controller was not heard for ${Math.round(silentNs / 1e6)} ms`);
    }
  }

  /** Whoever loses its controller as it begins to send may have cut the way itself: then no long hold counts. */
  #holdNs(heardNs: number): number {
    const holdNs = Math.min(this.#options.task.holdNs, this.#options.guards.maxHoldNs);
    return heardNs < this.#firstEmitNs + EARLY_NS ? Math.min(holdNs, EARLY_HOLD_NS) : holdNs;
  }

  #stopAll(why: SourceStop, nowNs: number, detail: string): void {
    for (const number of this.#options.sources.keys()) this.#stop(number);
    this.#nextAction = this.#actions.length;
    this.#stopped = { why, atNs: nowNs - this.#startNs, detail: detail.slice(0, MOST_DETAIL) };
  }

  #act(nowNs: number): void {
    for (;;) {
      const action = this.#actions[this.#nextAction];
      if (action === undefined || this.#startNs + action.atNs > nowNs) return;
      if (this.#options.clock() - nowNs > LONGEST_STEP_NS) return; // a look at the brakes first
      this.#nextAction++;
      this.#take(action);
    }
  }

  #take(action: TaskAction): void {
    const number = this.#numberOf.get(action.streamId);
    if (number === undefined) return;
    const source = this.#source(number);
    const atNs = this.#startNs + action.atNs;
    // What was due before this action goes out first, though the thread came late to it.
    if (action.kind !== "emit" && this.#options.clock() - atNs < CATCH_UP_NS) source.sendDue(atNs - 1);
    if (action.kind === "stop") {
      // Its companions too: a task that forgets them does not keep them alive.
      for (const streamId of this.#sending.stop(action.streamId)) this.#stop(this.#numberOf.get(streamId) ?? number);
      return;
    }
    const rateBps = action.rateBps ?? source.rateBps;
    const payloadBytes = action.payloadBytes ?? source.payloadBytes;
    const asked = { ...source.stream, rateBps, payloadBytes };
    const refusal = action.kind === "emit" ? this.#sending.start(asked) : this.#sending.change(asked);
    if (refusal !== null) {
      // Stopping everything is the safe answer to a request past the guards, whoever made it.
      this.#stopAll("guard", this.#options.clock(), refusal.message);
      this.#options.onRefused(refusal);
      return;
    }
    if (action.kind === "set") source.set(rateBps, payloadBytes, atNs);
    else source.emit(atNs);
    if (action.kind === "emit" && this.#firstEmitNs < 0) this.#firstEmitNs = atNs;
    if (source.isSending) this.#queue.put(number, source.nextDueNs);
  }

  #stop(number: number): void {
    this.#source(number).stop();
    this.#queue.remove(number);
  }

  #nextCutNs(): number {
    return (this.#index + 1) * this.#options.task.intervalNs;
  }

  /** Reports every interval that has ended; after a stall there may be several, and the first one holds the counts. */
  #cutUntil(nowNs: number): void {
    while (this.#startNs + this.#nextCutNs() <= nowNs && this.#nextCutNs() < this.#options.task.endNs) {
      this.#report(this.#nextCutNs(), false);
    }
  }

  #finish(nowNs: number): void {
    if (this.#stopped === null) this.#stopAll("as-planned", nowNs, "");
    this.#report(Math.max(this.#cutNs, nowNs - this.#startNs), true);
    this.#isOver = true;
  }

  #report(toNs: number, isLast: boolean): void {
    const { sources } = this.#options;
    const senders: SenderInterval[] = sources.map((source) => source.cut());
    const totals = isLast ? { listeners: [], senders: sources.map((source) => source.total()) } : null;
    const fromNs = this.#cutNs;
    this.#cutNs = toNs;
    this.#options.onInterval({
      index: this.#index++,
      fromNs,
      toNs,
      listeners: [],
      senders,
      wallClockSteps: null,
      sourcesStopped: this.#stopped,
      totals,
    });
  }

  #source(number: number): StreamSource {
    const source = this.#options.sources[number];
    if (source === undefined) throw new Error(`No source ${number}`);
    return source;
  }
}
