import { existsSync, mkdirSync, rmSync, statSync } from "node:fs";
import path from "node:path";
import { Fault } from "@dyetrace/wire";
import { AcknowledgedReports } from "./acknowledged-reports.ts";
import { leftovers, leftReports, SUFFIX } from "./left-reports.ts";
import type { ReportMessage } from "./report-message.ts";
import { SpoolFile } from "./spool-file.ts";
import { readReport, type WaitingReport, WaitingReports, waitingReport } from "./waiting-reports.ts";
import { writtenReport } from "./written-report.ts";

export interface ReportSpoolOptions {
  /** Belongs to this agent alone; made with the first report. */
  readonly folder: string;
  /** Everything that waits together may take this much. */
  readonly mostBytes: number;
  /** The disk takes no more, or takes it again (null): reports wait in memory meanwhile. */
  readonly onTrouble: (error: unknown) => void;
}

/** Beside them, in the same files: those of the latest run that are acknowledged take up to this share of the limit. */
const ACKNOWLEDGED_SHARE = 0.25;
/** Whole files of acknowledged reports are removed, so that nothing is written anew for it. */
const FILE_BYTES = 4 * 1024 * 1024;
const FILE_SHARE = 1 / 16;
/** After making room this much of the limit is free, so that it is not made for every report. */
const FREE_SHARE = 0.25;

/**
 * Reports that the controller has not acknowledged, on disk and in order: they survive the end of this process, however
 * it ends, and go out again after a reconnect. Where the limit is reached, receipts of quiet intervals are merged first,
 * then all others that were never sent; both keep every count and gap. Only then the oldest are dropped, and the report
 * that follows says how many. What is acknowledged stays a while, until another run begins.
 */
export class ReportSpool {
  readonly #options: ReportSpoolOptions;
  readonly #waiting = new WaitingReports();
  readonly #acknowledged = new AcknowledgedReports();
  /** Of each stint the one that is written to. */
  readonly #files = new Map<string, SpoolFile>();
  #isTroubled = false;
  #newest: ReportMessage | null = null;

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
    if (this.#newest?.runId !== message.runId) this.#forget(({ runId }) => runId !== message.runId);
    this.#newest = message;
    const told = this.#waiting.tellDropped(message);
    const entry = waitingReport(told, null);
    this.#write(entry, told);
    this.#waiting.add(entry);
    if (this.sizeBytes <= this.#options.mostBytes) return;
    this.#forget(() => true);
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
    const stored = this.#waiting.remove(stint, lastNumber);
    this.#noteAcknowledged(stored);
    this.#acknowledged.add(stored);
    while (this.#acknowledged.sizeBytes > this.#options.mostBytes * ACKNOWLEDGED_SHARE) {
      const file = this.#acknowledged.takeOldestFile();
      if (file !== null) this.#tidy(file);
    }
  }

  /** Everything of that stint up to a number will never be in it. */
  discard(stint: string, lastNumber: number): void {
    const refused = this.#waiting.remove(stint, lastNumber);
    this.#noteAcknowledged(refused);
    for (const file of filesOf(refused)) this.#tidy(file);
  }

  /** What the controller's store has of a run, by stint: all else of it waits, whatever was acknowledged before. */
  stored(runId: string, stints: ReadonlyMap<string, number>): void {
    for (const [stint, lastNumber] of stints) this.acknowledge(stint, lastNumber);
    const isMissing = (entry: WaitingReport): boolean =>
      entry.runId === runId && entry.lastNumber > (stints.get(entry.stint) ?? 0);
    this.#waiting.putBack(this.#acknowledged.take(isMissing));
    const waiting = this.#waiting.entries.filter((entry) => entry.runId === runId);
    for (const stint of new Set(waiting.map((entry) => entry.stint))) {
      this.#waiting.tellAbsent(stint, stints.get(stint) ?? 0);
    }
  }

  close(): void {
    const files = new Set([...this.#files.values(), ...filesOf(this.#waiting.entries), ...this.#acknowledged.files()]);
    for (const file of files) {
      if (this.#isInUse(file)) file.close();
      else file.remove();
    }
    this.#files.clear();
  }

  #isInUse(file: SpoolFile): boolean {
    return this.#acknowledged.holds(file) || this.#waiting.entries.some((entry) => entry.file === file);
  }

  /** Removes a file of which nothing is needed any more; the newest stint goes on in another one. */
  #tidy(file: SpoolFile): void {
    if (this.#isInUse(file)) return;
    for (const [stint, current] of this.#files) if (current === file) this.#files.delete(stint);
    file.remove();
  }

  #forget(isMeant: (entry: WaitingReport) => boolean): void {
    for (const file of filesOf(this.#acknowledged.take(isMeant))) this.#tidy(file);
  }

  /** So that the next process of this agent does not send them all anew. */
  #noteAcknowledged(entries: readonly WaitingReport[]): void {
    for (const file of filesOf(entries)) {
      const own = entries.filter((entry) => entry.file === file);
      try {
        file.append({ acknowledged: own.at(-1)?.lastNumber });
      } catch {
        // The disk takes nothing: they are sent again then, and known.
      }
    }
  }

  #takeUp(name: string): void {
    if (statSync(name).size === 0) {
      rmSync(name);
      return;
    }
    const file = SpoolFile.open(name);
    const { waiting, acknowledged } = leftReports(file);
    const [first] = [...waiting, ...acknowledged];
    if (first === undefined) file.remove();
    else this.#files.set(first.stint, file);
    for (const entry of waiting) this.#waiting.add(entry);
    this.#acknowledged.add(acknowledged);
  }

  #fileOf({ runId, stint }: ReportMessage): SpoolFile {
    let file = this.#files.get(stint);
    if (file === undefined || file.sizeBytes > Math.min(FILE_BYTES, this.#options.mostBytes * FILE_SHARE)) {
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
    for (const file of filesOf(this.#waiting.entries)) {
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

const filesOf = (entries: readonly WaitingReport[]): ReadonlySet<SpoolFile> =>
  new Set(entries.flatMap(({ file }) => file ?? []));
