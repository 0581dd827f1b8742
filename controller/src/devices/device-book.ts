import Type, { type Static } from "@dyetrace/schema";
import { Fault, parseAs } from "@dyetrace/wire";
import { type DeviceEntry, type DeviceTarget, DeviceTargetSchema } from "@dyetrace/wire/devices/device-access";
import { KeptList } from "../files/kept-list.ts";

const MOST_DEVICES = 4096;

/** Its entries and their secrets; nothing else of this program holds them. */
const DeviceFileSchema: Type.TObject<{
  version: Type.TLiteral<1>;
  devices: Type.TArray<
    Type.TObject<{ target: typeof DeviceTargetSchema; addedAt: Type.TString; addedBy: Type.TString }>
  >;
}> = Type.Object({
  version: Type.Literal(1),
  devices: Type.Array(
    Type.Object({
      target: DeviceTargetSchema,
      addedAt: Type.String({ maxLength: 40 }),
      addedBy: Type.String({ maxLength: 200 }),
    }),
    { maxItems: MOST_DEVICES },
  ),
});
type KeptDevice = Static<typeof DeviceFileSchema>["devices"][number];

const FILE = "devices.json";

/**
 * Which devices this controller may read, and how: one file of the data folder, which its owner alone may read. It is no part of the
 * store, so neither a backup nor an export of the database has it, and controllers that share a database do not share it.
 */
export class DeviceBook {
  readonly #list: KeptList<KeptDevice>;

  /** @param folder null keeps them in memory, as long as this controller lives */
  constructor(folder: string | null) {
    this.#list = new KeptList(folder, FILE, {
      parse: (value, file) => parseAs(DeviceFileSchema, value, "ACCESS_INVALID", file).devices,
      wrap: (devices) => ({ version: 1, devices }),
      indent: 1,
      damaged,
      unreadable,
    });
  }

  /** In order of their names. @throws {Fault} ACCESS_INVALID, FILE_UNREADABLE */
  list(): readonly DeviceEntry[] {
    return this.#list.read().map(entryOf);
  }

  /** With their secrets. @throws {Fault} ACCESS_INVALID, FILE_UNREADABLE */
  targets(): readonly DeviceTarget[] {
    return this.#list.read().map(({ target }) => target);
  }

  /** @throws {Fault} DEVICE_UNKNOWN, ACCESS_INVALID, FILE_UNREADABLE */
  get(node: string): DeviceTarget {
    const found = this.#list.read().find(({ target }) => target.node === node);
    if (found === undefined) throw unknownDevice(node);
    return found.target;
  }

  /** In the place of one of the same name. @throws {Fault} TOO_MANY, ACCESS_INVALID, FILE_UNREADABLE */
  put(target: DeviceTarget, addedBy: string): DeviceEntry {
    const kept: KeptDevice = { target, addedAt: new Date().toISOString(), addedBy };
    this.#list.change((before) => {
      const others = before.filter((one) => one.target.node !== target.node);
      if (others.length >= MOST_DEVICES) {
        throw new Fault("TOO_MANY", `A controller reads ${MOST_DEVICES} devices at most`, "Remove one first");
      }
      return [...others, kept].sort((one, other) => (one.target.node < other.target.node ? -1 : 1));
    });
    return entryOf(kept);
  }

  /** @throws {Fault} DEVICE_UNKNOWN, ACCESS_INVALID, FILE_UNREADABLE */
  remove(node: string): void {
    this.#list.change((before) => {
      const others = before.filter((one) => one.target.node !== node);
      if (others.length === before.length) throw unknownDevice(node);
      return others;
    });
  }
}

const entryOf = ({ target: { node, address, port, access }, addedAt, addedBy }: KeptDevice): DeviceEntry => ({
  ...{ node, address, port, addedAt, addedBy },
  by: access.version === "3" ? "snmp-v3" : "snmp-v2c",
  user: access.version === "3" ? access.user : null,
});

const unknownDevice = (node: string): Fault =>
  new Fault("DEVICE_UNKNOWN", `No device is called ${node}`, "`dyetrace device list` names them");

const damaged = (file: string): Fault =>
  new Fault("ACCESS_INVALID", `${file} is damaged`, "Remove it, and add the devices again with `dyetrace device add`");

const unreadable = (file: string, deed: string, cause: unknown): Fault =>
  new Fault(
    "FILE_UNREADABLE",
    `${file} cannot be ${deed}: ${(cause as NodeJS.ErrnoException).code ?? "the system does not say why"}`,
    "See that there is room and that the controller may read and write there",
  );
