import { existsSync, mkdirSync, readdirSync, rmSync, statSync } from "node:fs";
import path from "node:path";
import { AgentMessageSchema, Fault, parseAs } from "@dyetrace/wire";
import type { ReportMessage } from "./report-message.ts";
import { type RecordPlace, SpoolFile } from "./spool-file.ts";
import { readReport, type WaitingReport, WaitingReports, waitingReport } from "./waiting-reports.ts";
import { completeMessage, writtenReport } from "./written-report.ts";

export interface ReportSpoolOptions {
  /** Belongs to this agent alone; made with the first report. */
  readonly folder: string;
  /** Everything that waits together may take this much. */
  readonly mostBytes: number;
  /** The disk takes no more, or takes it again (null): reports wait in memory meanwhile. */
  readonly onTrouble: (error: unknown) => void;
}

const SUFFIX = ".spool";
/** After making room this much of the limit is free, so that it is not made for every report. */
const FREE_SHARE = 0.25;

/**
 * Reports that the controller has not acknowledged, on disk and in order: they survive the end of this process, however
 * it ends, and go out again after a reconnect. Where the limit is reached, receipts of quiet intervals are merged first,
 * then all others that were never sent; both keep every count and gap. Only then the oldest are dropped, and the report
 * that follows says how many.
 */
export class ReportSpool {
  readonly #options: ReportSpoolOptions;
  readonly #waiting = new WaitingReports();
  readonly #files = new Map<string, SpoolFile>();
  #isTroubled = false;
  #newest: string | null = null;

  /** Takes up what an earlier process of this agent left. @throws {Fault} FILE_UNREADABLE */
  constructor(options: ReportSpoolOptions) {
    this.#options = options;
    try {
      if (existsSync(options.folder))
        for (const name of leftovers(options.folder)) this.#takeUp(path.join(options.folder, name));
    } catch (cause) {
      const { code } = cause as NodeJS.ErrnoException;
      throw new Fault(
        "FILE_UNREADABLE",
        `Cannot read the reports that wait in ${options.folder}: ${code}`,
        "Give this user the right to, or name another folder with --data",
        { cause },
      );
    }
  }

  /** Reports that wait. */
  get size(): number {
    return this.#waiting.entries.length;
  }

  get sizeBytes(): number {
    return this.#waiting.sizeBytes;
  }

  add(message: ReportMessage): void {
    this.#newest = message.stint;
    const told = this.#waiting.tellDropped(message);
    const entry = waitingReport(told, null);
    this.#write(entry, told);
    this.#waiting.add(entry);
    if (this.sizeBytes <= this.#options.mostBytes) return;
    this.#waiting.shrinkTo(this.#options.mostBytes * (1 - FREE_SHARE));
    this.#rewrite();
  }

  /** From the oldest on again: a new connection has been made. */
  rewind(): void {
    this.#waiting.rewind();
  }

  /** How many were handed out since `rewind` and are not acknowledged. */
  get underWay(): number {
    return this.#waiting.underWay;
  }

  /** @returns the next one to send, oldest first; null when all are under way */
  next(): ReportMessage | null {
    return this.#waiting.next();
  }

  /** Everything of that stint up to a number is in the controller's store. */
  acknowledge(stint: string, lastNumber: number): void {
    const isOver = this.#waiting.remove(stint, lastNumber);
    const file = this.#files.get(stint);
    if (file === undefined || this.#waiting.entries.some((entry) => entry.file === file)) return;
    if (isOver || stint !== this.#newest) {
      this.#files.delete(stint);
      file.remove();
    } else file.empty();
  }

  close(): void {
    for (const [stint, file] of this.#files) {
      if (this.#waiting.entries.some((entry) => entry.stint === stint)) file.close();
      else file.remove();
    }
    this.#files.clear();
  }

  #takeUp(name: string): void {
    if (statSync(name).size === 0) {
      rmSync(name);
      return;
    }
    const file = SpoolFile.open(name);
    let stint: string | null = null;
    for (const { place, value } of file.records()) {
      const message = asReport(value);
      if (message === null) continue;
      stint = message.stint;
      this.#waiting.add(leftReport(message, file, place));
    }
    if (stint === null) file.remove();
    else this.#files.set(stint, file);
  }

  #fileOf({ runId, stint }: ReportMessage): SpoolFile {
    let file = this.#files.get(stint);
    if (file === undefined) {
      mkdirSync(this.#options.folder, { recursive: true, mode: 0o700 });
      file = SpoolFile.open(path.join(this.#options.folder, `${Date.now()}-${runId}-${stint}${SUFFIX}`));
      this.#files.set(stint, file);
    }
    return file;
  }

  #write(entry: WaitingReport, message: ReportMessage): void {
    try {
      entry.file = this.#fileOf(message);
      entry.place = entry.file.append(writtenReport(message));
      entry.message = null;
      if (this.#isTroubled) this.#options.onTrouble(null);
      this.#isTroubled = false;
    } catch (error) {
      if (!this.#isTroubled) this.#options.onTrouble(error);
      this.#isTroubled = true; // it stays in memory, and is sent from there
    }
  }

  /** Files anew, with what still waits. If the disk does not take that either, it stays in memory. */
  #rewrite(): void {
    for (const file of new Set(this.#waiting.entries.flatMap((entry) => entry.file ?? []))) {
      const own = this.#waiting.entries.filter((entry) => entry.file === file);
      const messages = own.map(readReport);
      try {
        const places = file.replace(messages.map(writtenReport));
        for (const [index, entry] of own.entries()) {
          entry.place = places[index] ?? null;
          entry.message = null;
        }
      } catch (error) {
        for (const [index, entry] of own.entries()) entry.message = messages[index] ?? null;
        if (!this.#isTroubled) this.#options.onTrouble(error);
        this.#isTroubled = true;
      }
    }
  }
}

/** In the order in which their stints began. */
const leftovers = (folder: string): readonly string[] =>
  readdirSync(folder)
    .filter((name) => name.endsWith(SUFFIX))
    .sort((a, b) => Number.parseInt(a, 10) - Number.parseInt(b, 10));

/** One that an earlier process left. Whether it went out before is not known, so it is taken as sent. */
const leftReport = (message: ReportMessage, file: SpoolFile, place: RecordPlace): WaitingReport => ({
  stint: message.stint,
  firstNumber: message.firstNumber,
  lastNumber: message.lastNumber,
  file,
  place,
  message: null,
  sizeBytes: place.length + 1,
  isFinal: message.isFinal,
  wasSent: true,
});

/** What another version left, or what was damaged, is no report of ours. */
function asReport(value: unknown): ReportMessage | null {
  try {
    const message = parseAs(AgentMessageSchema, completeMessage(value), "MESSAGE_INVALID", "A spooled report");
    return message.kind === "report" ? message : null;
  } catch {
    return null;
  }
}
