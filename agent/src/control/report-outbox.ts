import type { AgentMessage, IntervalReport, WatcherReport } from "@dyetrace/wire";

export type ReportMessage = Extract<AgentMessage, { kind: "report" }>;

/**
 * Reports that the controller has not acknowledged yet. They are numbered within a stint and sent again, in order, after
 * a reconnect; the controller counts each number once.
 */
export class ReportOutbox {
  readonly #waiting: ReportMessage[] = [];
  readonly #nextNumber = new Map<string, number>();

  add(
    runId: string,
    stint: string,
    report: IntervalReport,
    watch: WatcherReport | null,
    isFinal: boolean,
  ): ReportMessage {
    const number = this.#nextNumber.get(stint) ?? 1;
    if (isFinal) this.#nextNumber.delete(stint);
    else this.#nextNumber.set(stint, number + 1);
    const numbers = { firstNumber: number, lastNumber: number, droppedReports: 0 };
    const message: ReportMessage = { kind: "report", runId, stint, ...numbers, report, watch, isFinal };
    this.#waiting.push(message);
    return message;
  }

  acknowledge(stint: string, lastNumber: number): void {
    const kept = this.#waiting.filter((message) => message.stint !== stint || message.lastNumber > lastNumber);
    this.#waiting.splice(0, this.#waiting.length, ...kept);
  }

  /** Everything still unacknowledged, oldest first. */
  waiting(): readonly ReportMessage[] {
    return [...this.#waiting];
  }
}
