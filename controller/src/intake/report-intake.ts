import { EventEmitter } from "node:events";
import type { AgentMessage } from "@dyetrace/wire";
import type { Logger } from "pino";
import type { AgentSession } from "../agents/agent-session.ts";
import type { KeepOutcome } from "../store/keep-reports.ts";
import type { KeptReport } from "../store/kept-report.ts";
import type { Store } from "../store/store.ts";
import { countMinutes } from "./count-minutes.ts";
import { noteEpisodes } from "./note-episodes.ts";

export type ReportMessage = Extract<AgentMessage, { readonly kind: "report" }>;

export interface IntakeEvents {
  /** In the store and acknowledged; not for one that was there before. */
  kept: [agent: string, message: ReportMessage];
  /** A batch was written. */
  wrote: [reports: number, seconds: number];
  /** The store can't take reports at present; agents hold them back. Null: it can again. */
  trouble: [unknown];
}

interface Waiting {
  readonly session: AgentSession;
  readonly message: ReportMessage;
}

/** Reports that arrive within this time share one transaction, so the disk is waited for once. */
const GATHER_MS = 20;
const MOST_AT_ONCE = 500;
const RETRY_MS = 2000;

/**
 * The door that every report comes through: it is stored first and acknowledged then. While the store can't take any,
 * nothing is acknowledged, agents keep what they have, and the intake tries again.
 */
export class ReportIntake extends EventEmitter<IntakeEvents> {
  readonly #store: Store;
  readonly #log: Logger;
  #waiting: Waiting[] = [];
  #timer: NodeJS.Timeout | undefined;
  #writing: Promise<void> | null = null;
  #isTroubled = false;
  #isClosed = false;

  constructor(store: Store, log: Logger) {
    super();
    this.#store = store;
    this.#log = log;
  }

  get isTroubled(): boolean {
    return this.#isTroubled;
  }

  take(session: AgentSession, message: ReportMessage): void {
    if (this.#isClosed) return;
    this.#waiting.push({ session, message });
    if (this.#waiting.length >= MOST_AT_ONCE && !this.#isTroubled) this.#flush();
    else this.#timer ??= setTimeout(() => this.#flush(), this.#isTroubled ? RETRY_MS : GATHER_MS);
  }

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
    let outcomes: readonly KeepOutcome[];
    try {
      outcomes = await this.#store.reports.keep(batch.map(asKept));
    } catch (error) {
      this.#waiting.unshift(...batch);
      const fault = this.#store.fault(error);
      if (!this.#isTroubled) this.#log.error({ err: fault }, "the store takes no reports; agents keep theirs");
      this.#isTroubled = true;
      this.emit("trouble", fault);
      return;
    }
    if (this.#isTroubled) {
      this.#isTroubled = false;
      this.#log.info("the store takes reports again");
      this.emit("trouble", null);
    }
    for (const [index, { session, message }] of batch.entries()) {
      const { runId, stint, lastNumber } = message;
      const outcome = outcomes[index];
      // What belongs to no run here would otherwise come for ever.
      session.send({ kind: "ack", runId, stint, lastNumber });
      if (outcome === "kept") this.emit("kept", session.name, message);
      const about = { agent: session.name, runId, stint, lastNumber };
      if (outcome === "overlap") this.#log.warn(about, "report left out: it repeats a part of what is stored");
      // The look and the ramp before a run are not stored either.
      if (outcome === "unknown-run") this.#log.debug(about, "report left out: it belongs to no stored run");
    }
    this.emit("wrote", batch.length, (performance.now() - startedMs) / 1000);
  }
}

function asKept({ session, message }: Waiting): KeptReport {
  const { runId, stint, firstNumber, lastNumber, droppedReports, isFinal, report, watch } = message;
  const body = { report, watch };
  const episodes = noteEpisodes(session.name, body);
  const { fromNs, toNs } = report;
  const dropped =
    droppedReports === 0
      ? []
      : [
          {
            kind: "dropped" as const,
            agent: session.name,
            streamId: null,
            fromNs,
            toNs,
            count: droppedReports,
            detail: "the agent's spool was full",
          },
        ];
  return {
    runId,
    agent: session.name,
    stint,
    firstNumber,
    lastNumber,
    droppedReports,
    isFinal,
    body,
    minutes: countMinutes(body),
    episodes: [...episodes, ...dropped],
  };
}
