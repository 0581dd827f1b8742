import { existsSync, mkdirSync, readdirSync, rmSync, statSync } from "node:fs";
import path from "node:path";
import { type AgentMessage, AgentMessageSchema, Fault, parseAs } from "@dyetrace/wire";
import { mergeReportMessages } from "./merge-report-messages.ts";
import { type RecordPlace, SpoolFile } from "./spool-file.ts";

export type ReportMessage = Extract<AgentMessage, { kind: "report" }>;

export interface ReportSpoolOptions {
  /** Belongs to this agent alone; made with the first report. */
  readonly folder: string;
  /** Everything that waits together may take this much. */
  readonly mostBytes: number;
  /** The disk takes no more, or takes it again (null): reports wait in memory meanwhile. */
  readonly onTrouble: (error: unknown) => void;
}

/** One report that waits for its acknowledgement. */
interface Entry {
  readonly stint: string;
  firstNumber: number;
  readonly lastNumber: number;
  /** Null: the disk would not take even an empty one. */
  file: SpoolFile | null;
  /** Null: the disk would not take it. */
  place: RecordPlace | null;
  message: ReportMessage | null;
  sizeBytes: number;
  /** The last one of its stint. */
  readonly isFinal: boolean;
  /** The controller may have it in its store, so it must stay as it is. */
  wasSent: boolean;
}

const SUFFIX = ".spool";
/** Stretches that waiting reports are merged to, one after the other, as room gets short. */
const STRETCHES_NS = [10e9, 60e9, 600e9];
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
  readonly #entries: Entry[] = [];
  readonly #files = new Map<string, SpoolFile>();
  /** Reports that were dropped and that no report has told of yet, by stint. */
  readonly #dropped = new Map<string, number>();
  #isTroubled = false;
  #next = 0;
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
    return this.#entries.length;
  }

  get sizeBytes(): number {
    return this.#entries.reduce((sum, entry) => sum + entry.sizeBytes, 0);
  }

  add(message: ReportMessage): void {
    this.#newest = message.stint;
    const told = this.#tellDropped(message);
    const entry: Entry = {
      stint: message.stint,
      firstNumber: told.firstNumber,
      lastNumber: told.lastNumber,
      file: null,
      place: null,
      message: told,
      sizeBytes: Buffer.byteLength(JSON.stringify(told)) + 1,
      isFinal: told.isFinal,
      wasSent: false,
    };
    this.#write(entry, told);
    this.#entries.push(entry);
    if (this.sizeBytes > this.#options.mostBytes) this.#makeRoom();
  }

  /** From the oldest on again: a new connection has been made. */
  rewind(): void {
    this.#next = 0;
  }

  /** How many were handed out since `rewind` and are not acknowledged. */
  get underWay(): number {
    return this.#next;
  }

  /** @returns the next one to send, oldest first; null when all are under way */
  next(): ReportMessage | null {
    const entry = this.#entries[this.#next];
    if (entry === undefined) return null;
    this.#next++;
    entry.wasSent = true;
    return read(entry);
  }

  /** Everything of that stint up to a number is in the controller's store. */
  acknowledge(stint: string, lastNumber: number): void {
    let isOver = false;
    for (let index = 0; index < this.#entries.length; ) {
      const entry = this.#entries[index];
      if (entry === undefined) break;
      if (entry.stint !== stint || entry.lastNumber > lastNumber) {
        index++;
        continue;
      }
      this.#entries.splice(index, 1);
      if (index < this.#next) this.#next--;
      isOver ||= entry.isFinal;
    }
    const file = this.#files.get(stint);
    if (file === undefined || this.#entries.some((entry) => entry.file === file)) return;
    if (isOver || stint !== this.#newest) {
      this.#files.delete(stint);
      file.remove();
    } else file.empty();
  }

  close(): void {
    for (const [stint, file] of this.#files) {
      if (this.#entries.some((entry) => entry.stint === stint)) file.close();
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
      const { firstNumber, lastNumber, isFinal } = message;
      const sizeBytes = place.length + 1;
      // Whether it went out before is not known, so it is taken as sent.
      this.#entries.push({
        stint,
        firstNumber,
        lastNumber,
        file,
        place,
        message: null,
        sizeBytes,
        isFinal,
        wasSent: true,
      });
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

  #write(entry: Entry, message: ReportMessage): void {
    try {
      entry.file = this.#fileOf(message);
      entry.place = entry.file.append(message);
      entry.message = null;
      if (this.#isTroubled) this.#options.onTrouble(null);
      this.#isTroubled = false;
    } catch (error) {
      if (!this.#isTroubled) this.#options.onTrouble(error);
      this.#isTroubled = true; // it stays in memory, and is sent from there
    }
  }

  #tellDropped(message: ReportMessage): ReportMessage {
    const dropped = this.#dropped.get(message.stint) ?? 0;
    this.#dropped.delete(message.stint);
    return dropped === 0 ? message : { ...message, droppedReports: message.droppedReports + dropped };
  }

  #makeRoom(): void {
    const aimBytes = this.#options.mostBytes * (1 - FREE_SHARE);
    for (const isQuietOnly of [true, false]) {
      for (const stretchNs of STRETCHES_NS) {
        if (this.sizeBytes > aimBytes) this.#mergeWaiting(stretchNs, isQuietOnly);
      }
    }
    while (this.sizeBytes > aimBytes && this.#entries.length > 1) this.#dropOldest();
    this.#rewrite();
  }

  #mergeWaiting(stretchNs: number, isQuietOnly: boolean): void {
    for (let index = this.#next; index + 1 < this.#entries.length; ) {
      const [a, b] = [this.#entries[index], this.#entries[index + 1]];
      if (a === undefined || b === undefined) return;
      const isFit = !a.wasSent && !b.wasSent && a.stint === b.stint;
      const merged = isFit ? mergeReportMessages(read(a), read(b), stretchNs, isQuietOnly) : null;
      if (merged === null) {
        index++;
        continue;
      }
      const { firstNumber, lastNumber, isFinal } = merged;
      const sizeBytes = Buffer.byteLength(JSON.stringify(merged)) + 1;
      const { stint, file } = a;
      this.#entries.splice(index, 2, {
        stint,
        firstNumber,
        lastNumber,
        file,
        place: null,
        message: merged,
        sizeBytes,
        isFinal,
        wasSent: false,
      });
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
    const count = read(dropped).droppedReports + dropped.lastNumber - dropped.firstNumber + 1;
    const follower = this.#entries.find((entry) => entry.stint === dropped.stint && !entry.wasSent);
    if (follower === undefined) {
      this.#dropped.set(dropped.stint, (this.#dropped.get(dropped.stint) ?? 0) + count);
      return;
    }
    const message = read(follower);
    follower.message = { ...message, droppedReports: message.droppedReports + count };
    follower.place = null;
  }

  /** Files anew, with what still waits. If the disk does not take that either, it stays in memory. */
  #rewrite(): void {
    for (const file of new Set(this.#entries.flatMap((entry) => entry.file ?? []))) {
      const own = this.#entries.filter((entry) => entry.file === file);
      const messages = own.map(read);
      try {
        const places = file.replace(messages);
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

function read(entry: Entry): ReportMessage {
  if (entry.message !== null) return entry.message;
  if (entry.place === null || entry.file === null) throw new Error("A waiting report is neither on disk nor in memory");
  return entry.file.read(entry.place) as ReportMessage;
}

/** What another version left, or what was damaged, is no report of ours. */
function asReport(value: unknown): ReportMessage | null {
  try {
    const message = parseAs(AgentMessageSchema, value, "MESSAGE_INVALID", "A spooled report");
    return message.kind === "report" ? message : null;
  } catch {
    return null;
  }
}
