import { existsSync, mkdirSync, readFileSync } from "node:fs";
import path from "node:path";
import Type from "@dyetrace/schema";
import { Fault, parseAs } from "@dyetrace/wire";
import { type DeviceReading, DeviceReadingSchema } from "@dyetrace/wire/devices/device-reading";
import { underLock } from "../files/under-lock.ts";
import { writeWhole } from "../files/write-whole.ts";

/** Tables that are kept, one of each node. */
const MOST_PASTED = 512;
const FILE = "pasted-tables.json";

const PastedFileSchema: Type.TObject<{
  version: Type.TLiteral<1>;
  tables: Type.TArray<typeof DeviceReadingSchema>;
}> = Type.Object({ version: Type.Literal(1), tables: Type.Array(DeviceReadingSchema, { maxItems: MOST_PASTED }) });

/** Group tables that operators copied from devices by hand, the last one of each node: one file of the data folder. */
export class PastedTables {
  readonly #file: string | null;
  #kept: readonly DeviceReading[] = [];

  /** @param folder null keeps them in memory, as long as this controller lives */
  constructor(folder: string | null) {
    this.#file = folder === null ? null : path.join(folder, FILE);
  }

  /** In the place of the node's earlier one. @throws {Fault} TOO_MANY, FILE_UNREADABLE */
  put(reading: DeviceReading): void {
    this.#change((before) => {
      const others = before.filter(({ node }) => node !== reading.node);
      if (others.length >= MOST_PASTED) {
        throw new Fault(
          "TOO_MANY",
          `${MOST_PASTED} tables are kept at most`,
          "`dyetrace device remove NODE` forgets a node's table as well",
        );
      }
      return [...others, reading];
    });
  }

  /** @throws {Fault} FILE_UNREADABLE */
  remove(node: string): void {
    if (this.#read().some((one) => one.node === node)) {
      this.#change((before) => before.filter((one) => one.node !== node));
    }
  }

  /** Those that were pasted since an instant. @throws {Fault} FILE_UNREADABLE */
  since(sinceMs: number): readonly DeviceReading[] {
    return this.#read().filter(({ readAt }) => Date.parse(readAt) >= sinceMs);
  }

  #change(edit: (before: readonly DeviceReading[]) => readonly DeviceReading[]): void {
    const file = this.#file;
    if (file === null) {
      this.#kept = edit(this.#kept);
      return;
    }
    try {
      mkdirSync(path.dirname(file), { recursive: true, mode: 0o700 });
      underLock(file, () => {
        const text = `${JSON.stringify({ version: 1, tables: edit(this.#read()) })}\n`;
        writeWhole(file, text, { mode: 0o600, isFolderOwners: true });
      });
    } catch (cause) {
      throw cause instanceof Fault ? cause : unreadable(file, "written");
    }
  }

  #read(): readonly DeviceReading[] {
    const file = this.#file;
    if (file === null) return this.#kept;
    if (!existsSync(file)) return [];
    try {
      return parseAs(PastedFileSchema, JSON.parse(readFileSync(file, "utf8")), "FILE_UNREADABLE", file).tables;
    } catch {
      throw unreadable(file, "read");
    }
  }
}

const unreadable = (file: string, deed: string): Fault =>
  new Fault(
    "FILE_UNREADABLE",
    `${file}, which has the group tables that were pasted, cannot be ${deed}`,
    "See that there is room and that the controller may read and write there; where the file is damaged, remove it and paste the tables again",
  );
