import { mergeReportMessages } from "./merge-report-messages.ts";
import type { ReportMessage } from "./report-message.ts";
import type { RecordPlace, SpoolFile } from "./spool-file.ts";
import { completeMessage, sizeOfReport } from "./written-report.ts";

/** One report that waits for its acknowledgement. */
export interface WaitingReport {
  readonly runId: string;
  readonly stint: string;
  readonly firstNumber: number;
  readonly lastNumber: number;
  /** Null: the disk would not take even an empty one. */
  file: SpoolFile | null;
  /** Null: the disk would not take it. */
  place: RecordPlace | null;
  message: ReportMessage | null;
  readonly sizeBytes: number;
  /** The last one of its stint. */
  readonly isFinal: boolean;
  /** The controller may have it in its store, so it must stay as it is. */
  wasSent: boolean;
}

/** @param file where it will stand; it is in memory until then */
export function waitingReport(message: ReportMessage, file: SpoolFile | null): WaitingReport {
  const { runId, stint, firstNumber, lastNumber, isFinal } = message;
  const sizeBytes = sizeOfReport(message);
  return { runId, stint, firstNumber, lastNumber, file, place: null, message, sizeBytes, isFinal, wasSent: false };
}

export function readReport({ message, place, file }: WaitingReport): ReportMessage {
  if (message !== null) return message;
  if (place === null || file === null) throw new Error("A waiting report is neither on disk nor in memory");
  return completeMessage(file.read(place)) as ReportMessage;
}

/** Stretches that waiting reports are merged to, one after the other, as room gets short. */
const STRETCHES_NS = [10e9, 60e9, 600e9];

/** Reports in the order in which they go out, and how far that has come. */
export class WaitingReports {
  readonly #entries: WaitingReport[] = [];
  /** Reports that were dropped and that no report has told of yet, by stint. */
  readonly #dropped = new Map<string, number>();
  #next = 0;

  get entries(): readonly WaitingReport[] {
    return this.#entries;
  }

  get sizeBytes(): number {
    return this.#entries.reduce((sum, entry) => sum + entry.sizeBytes, 0);
  }

  add(entry: WaitingReport): void {
    this.#entries.push(entry);
  }

  /** From the oldest on again. */
  rewind(): void {
    this.#next = 0;
  }

  /** How many were handed out since `rewind` and still wait. */
  get underWay(): number {
    return this.#next;
  }

  /** @returns the next one to send, oldest first; null when all are under way */
  next(): ReportMessage | null {
    const entry = this.#entries[this.#next];
    if (entry === undefined) return null;
    this.#next++;
    entry.wasSent = true;
    return readReport(entry);
  }

  /** Those of that stint up to a number wait no more. @returns them */
  remove(stint: string, lastNumber: number): readonly WaitingReport[] {
    const removed: WaitingReport[] = [];
    for (let index = 0; index < this.#entries.length; ) {
      const entry = this.#entries[index];
      if (entry === undefined) break;
      if (entry.stint !== stint || entry.lastNumber > lastNumber) {
        index++;
        continue;
      }
      this.#entries.splice(index, 1);
      if (index < this.#next) this.#next--;
      removed.push(entry);
    }
    return removed;
  }

  /** These wait again, before all others, and everything goes out from the oldest on. */
  putBack(entries: readonly WaitingReport[]): void {
    this.#entries.splice(0, 0, ...entries);
    this.#next = 0;
  }

  /**
   * Of the reports of a stint that follow a number some are not here any more: the first that is says how many, so that nobody
   * waits for them.
   */
  tellAbsent(stint: string, after: number): void {
    const first = this.#entries.find((entry) => entry.stint === stint && entry.lastNumber > after);
    if (first === undefined) return;
    const message = readReport(first);
    const absent = first.firstNumber - 1 - after;
    if (absent <= message.droppedReports) return;
    first.message = { ...message, droppedReports: absent };
    first.place = null;
  }

  /** @returns the report, with how many of its stint were dropped before it and not told of */
  tellDropped(message: ReportMessage): ReportMessage {
    const dropped = this.#dropped.get(message.stint) ?? 0;
    this.#dropped.delete(message.stint);
    return dropped === 0 ? message : { ...message, droppedReports: message.droppedReports + dropped };
  }

  /**
   * Receipts of quiet intervals are merged first, then all others that were never sent; both keep every count and gap.
   * Only then the oldest are dropped, and the report that follows says how many.
   */
  shrinkTo(aimBytes: number): void {
    for (const isQuietOnly of [true, false]) {
      for (const stretchNs of STRETCHES_NS) {
        if (this.sizeBytes > aimBytes) this.#merge(stretchNs, isQuietOnly);
      }
    }
    while (this.sizeBytes > aimBytes && this.#entries.length > 1) this.#dropOldest();
  }

  #merge(stretchNs: number, isQuietOnly: boolean): void {
    for (let index = this.#next; index + 1 < this.#entries.length; ) {
      const [a, b] = [this.#entries[index], this.#entries[index + 1]];
      if (a === undefined || b === undefined) return;
      const isFit = !a.wasSent && !b.wasSent && a.stint === b.stint;
      const merged = isFit ? mergeReportMessages(readReport(a), readReport(b), stretchNs, isQuietOnly) : null;
      if (merged === null) index++;
      else this.#entries.splice(index, 2, waitingReport(merged, a.file));
    }
  }

  /** The oldest that was never sent, else the oldest; the next of its stint will tell. */
  #dropOldest(): void {
    const index = Math.max(
      0,
      this.#entries.findIndex((entry) => !entry.wasSent),
    );
    const [dropped] = this.#entries.splice(index, 1);
    if (dropped === undefined) return;
    if (index < this.#next) this.#next--;
    const count = readReport(dropped).droppedReports + dropped.lastNumber - dropped.firstNumber + 1;
    // Where that one is stored already, so is what was dropped before it.
    const follower = this.#entries.find((entry, at) => at >= index && entry.stint === dropped.stint);
    if (follower === undefined) {
      this.#dropped.set(dropped.stint, (this.#dropped.get(dropped.stint) ?? 0) + count);
      return;
    }
    const message = readReport(follower);
    follower.message = { ...message, droppedReports: message.droppedReports + count };
    follower.place = null;
  }
}
