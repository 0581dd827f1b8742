import type { AgentMessage, IntervalReport, WatcherReport } from "@dyetrace/wire";

export type ReportMessage = Extract<AgentMessage, { kind: "report" }>;

/**
 * Reports that the controller has not acknowledged yet. They are numbered within a run and sent again, in order, after
 * a reconnect; the controller counts each number once.
 */
export class ReportOutbox {
  readonly #waiting: ReportMessage[] = [];
  readonly #nextNumber = new Map<string, number>();

  add(runId: string, report: IntervalReport, watch: WatcherReport | null, isFinal: boolean): ReportMessage {
    const number = this.#nextNumber.get(runId) ?? 1;
    if (isFinal) this.#nextNumber.delete(runId);
    else this.#nextNumber.set(runId, number + 1);
    const message: ReportMessage = {
      kind: "report",
      number,
      runId,
      report,
      watch,
      isFinal,
    };
    this.#waiting.push(message);
    return message;
  }

  acknowledge(runId: string, number: number): void {
    const index = this.#waiting.findIndex((message) => message.runId === runId && message.number === number);
    if (index >= 0) this.#waiting.splice(index, 1);
  }

  /** Everything still unacknowledged, oldest first. */
  waiting(): readonly ReportMessage[] {
    return [...this.#waiting];
  }
}
