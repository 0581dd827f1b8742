import Type from "@dyetrace/schema";
import { Fault, parseAs } from "@dyetrace/wire";
import { type DeviceReading, DeviceReadingSchema } from "@dyetrace/wire/devices/device-reading";
import { KeptList } from "../files/kept-list.ts";

/** Tables that are kept, one of each node. */
const MOST_PASTED = 512;
const FILE = "pasted-tables.json";

const PastedFileSchema: Type.TObject<{
  version: Type.TLiteral<1>;
  tables: Type.TArray<typeof DeviceReadingSchema>;
}> = Type.Object({ version: Type.Literal(1), tables: Type.Array(DeviceReadingSchema, { maxItems: MOST_PASTED }) });

/** Group tables that operators copied from devices by hand, the last one of each node: one file of the data folder. */
export class PastedTables {
  readonly #list: KeptList<DeviceReading>;

  /** @param folder null keeps them in memory, as long as this controller lives */
  constructor(folder: string | null) {
    this.#list = new KeptList<DeviceReading>(folder, FILE, {
      parse: (value, file) => parseAs(PastedFileSchema, value, "FILE_UNREADABLE", file).tables,
      wrap: (tables) => ({ version: 1, tables }),
      indent: 0,
      damaged: (file) => unreadable(file, "read"),
      unreadable,
    });
  }

  /** In the place of the node's earlier one. @throws {Fault} TOO_MANY, FILE_UNREADABLE */
  put(reading: DeviceReading): void {
    this.#list.change((before) => {
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
    if (this.#list.read().some((one) => one.node === node)) {
      this.#list.change((before) => before.filter((one) => one.node !== node));
    }
  }

  /** Those that were pasted since an instant. @throws {Fault} FILE_UNREADABLE */
  since(sinceMs: number): readonly DeviceReading[] {
    return this.#list.read().filter(({ readAt }) => Date.parse(readAt) >= sinceMs);
  }
}

const unreadable = (file: string, deed: string): Fault =>
  new Fault(
    "FILE_UNREADABLE",
    `${file}, which has the group tables that were pasted, cannot be ${deed}`,
    "See that there is room and that the controller may read and write there; where the file is damaged, remove it and paste the tables again",
  );
