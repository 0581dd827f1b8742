import { Fault, parseIpAddress } from "@dyetrace/wire";
import { blankReading } from "@dyetrace/wire/devices/blank-reading";
import type { DeviceEntry, DeviceTarget } from "@dyetrace/wire/devices/device-access";
import type { DeviceGroup, DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { ReadingSummary } from "@dyetrace/wire/devices/reading-summary";
import type { AuditLog } from "../audit/audit-log.ts";
import type { DeviceBook } from "./device-book.ts";
import { DeviceReader } from "./device-reader.ts";
import { KeptReadings } from "./kept-readings.ts";
import { LastReadings } from "./last-readings.ts";
import { PastedTables } from "./pasted-tables.ts";
import { RUN_READING_BOUNDS } from "./snmp/reading-bounds.ts";
import { summariseReading } from "./summarise-reading.ts";
import type { ReadingKind } from "./tables/objects.ts";

/** Who wants something of a device: an operator and where he asks from, or a run. */
export interface Asker {
  readonly who: string;
  readonly from: string;
}

/** Devices that this controller may read: they are read by nobody but by it, and each reading stands in the audit log. */
export class DeviceDesk implements AsyncDisposable {
  readonly #book: DeviceBook;
  readonly #audit: Pick<AuditLog, "note">;
  readonly #reader: Pick<DeviceReader, "read"> & AsyncDisposable;
  readonly #pasted: PastedTables;
  /** Of runs that are under way. */
  readonly kept: KeptReadings;
  readonly #last = new LastReadings();

  /** @param folder where pasted tables and the readings of runs under way outlive this controller; null: nowhere */
  constructor(
    book: DeviceBook,
    audit: Pick<AuditLog, "note">,
    folder: string | null = null,
    reader: Pick<DeviceReader, "read"> & AsyncDisposable = new DeviceReader(),
  ) {
    this.#pasted = new PastedTables(folder);
    this.kept = new KeptReadings(folder);
    this.#book = book;
    this.#audit = audit;
    this.#reader = reader;
  }

  /** @throws {Fault} ACCESS_INVALID, FILE_UNREADABLE */
  list(): readonly DeviceEntry[] {
    return this.#book.list();
  }

  /** @throws {Fault} ADDRESS_INVALID, TOO_MANY, FILE_UNREADABLE */
  add(target: DeviceTarget, { who }: Asker): DeviceEntry {
    const address = parseIpAddress(target.address);
    if (address === null || isGroup(address.bytes)) {
      throw new Fault("ADDRESS_INVALID", `${target.address} is no device's address`, "Write it as in 192.0.2.7");
    }
    return this.#book.put(target, who);
  }

  /** @throws {Fault} DEVICE_UNKNOWN, FILE_UNREADABLE */
  remove(node: string): void {
    this.#book.remove(node);
    this.#pasted.remove(node);
    this.#last.forget(node);
  }

  /** @throws {Fault} DEVICE_UNKNOWN, FILE_UNREADABLE; whatever the device does stands in the reading */
  async read(node: string, kind: ReadingKind, asker: Asker): Promise<DeviceReading> {
    const target = this.#book.get(node);
    this.#note(target, asker);
    const reading = await this.#reader.read(target, kind);
    if (kind === "all") this.#last.keep(reading);
    return reading;
  }

  /** What it said when all of it was read last, since this controller began; null: not yet. */
  lastOf(node: string): DeviceReading | null {
    return this.#last.get(node);
  }

  /** Of every device that was read, and every table that was pasted. @throws {Fault} FILE_UNREADABLE */
  summaries(): readonly ReadingSummary[] {
    return [...this.#last.all(), ...this.#pasted.since(0)].map(summariseReading);
  }

  /** Several at once. @param note whether the audit log is told: of a run's many readings the first */
  readThese(targets: readonly DeviceTarget[], asker: Asker, note: boolean): Promise<readonly DeviceReading[]> {
    if (note) for (const target of targets) this.#note(target, asker);
    return Promise.all(targets.map((target) => this.#reader.read(target, "run", RUN_READING_BOUNDS)));
  }

  /** Those of a site's nodes, with their secrets: for whoever reads them, and for nothing else. @throws {Fault} FILE_UNREADABLE */
  targetsAmong(nodes: ReadonlySet<string>): readonly DeviceTarget[] {
    return this.#book.targets().filter(({ node }) => nodes.has(node));
  }

  /** Keeps a group table that an operator typed in, as of now, in the place of an earlier one. @throws {Fault} TOO_MANY, FILE_UNREADABLE */
  paste(node: string, groups: readonly DeviceGroup[]): DeviceReading {
    const head = { node, readAt: new Date().toISOString(), by: "pasted" as const, address: null };
    const reading: DeviceReading = { ...blankReading(head), groups };
    this.#pasted.put(reading);
    return reading;
  }

  /** Those that were pasted since an instant. @throws {Fault} FILE_UNREADABLE */
  pastedSince(sinceMs: number): readonly DeviceReading[] {
    return this.#pasted.since(sinceMs);
  }

  async [Symbol.asyncDispose](): Promise<void> {
    await this.#reader[Symbol.asyncDispose]();
  }

  #note({ node, address }: DeviceTarget, { who, from }: Asker): void {
    this.#audit.note(who, from, `read device ${node} at ${address}`);
  }
}

/** A group's, or that of everybody on a link: questions to one device go nowhere else. */
const isGroup = (bytes: Uint8Array): boolean =>
  bytes.length === 4 ? (bytes[0] ?? 0) >= 224 || bytes.every((byte) => byte === 0) : bytes[0] === 0xff;
