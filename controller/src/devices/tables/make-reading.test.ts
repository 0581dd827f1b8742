import { parseAs } from "@dyetrace/wire";
import { DeviceReadingSchema } from "@dyetrace/wire/devices/device-reading";
import fc from "fast-check";
import { expect, test } from "vitest";
import { makeReading } from "./make-reading.ts";
import { COLUMN_GROUPS, PLAIN_FORWARDING, SCALARS, SHORT_MULTICAST } from "./objects.ts";
import type { Column, RawTables, RawValue } from "./raw-tables.ts";

const HEAD = { node: "core", readAt: "2026-11-30T10:00:00.000Z", by: "snmp-v3", address: "192.0.2.1" } as const;
const GROUPS = [...COLUMN_GROUPS.all, PLAIN_FORWARDING, SHORT_MULTICAST];
const NAMES = GROUPS.flatMap(({ columns }) => Object.keys(columns));

const anyValue: fc.Arbitrary<RawValue> = fc.oneof(
  fc.uint8Array({ maxLength: 300 }),
  fc.uint8Array({ minLength: 6, maxLength: 6 }),
  fc.integer({ min: -5, max: 6 }),
  fc.double(),
  fc.string({ maxLength: 400, unit: "binary" }),
  fc.constantFrom(2 ** 53, 2 ** 60, Number.NaN, -0, "255.255.255.0", "0.0"),
);
/** Mostly small numbers and addresses, so that tables speak of each other's rows. */
const anyIndex = fc.oneof(
  fc.array(fc.integer({ min: 0, max: 4 }), { maxLength: 14 }),
  fc.array(fc.oneof(fc.integer({ min: 0, max: 255 }), fc.integer({ min: 0, max: 0xffff_ffff })), { maxLength: 40 }),
  fc.tuple(fc.integer({ min: 1, max: 4 })).map((one) => [...one]),
  fc.constantFrom(
    [0, 1, 1],
    [1, 1],
    [0, 10],
    [10, 1, 0, 94, 67, 10, 4],
    [0, 1, 1, 1, 4, 192, 0, 2, 9],
    [1, 1, 4, 192, 0, 2, 9],
  ),
);
const anyColumn: fc.Arbitrary<Column> = fc.record({
  cells: fc.array(fc.record({ index: anyIndex, value: anyValue, fromMs: fc.nat(1e6), toMs: fc.nat(1e6) }), {
    maxLength: 12,
  }),
  trouble: fc.option(fc.constantFrom("it did not answer", "it has more than 8192 rows"), { freq: 5 }),
});
const anyTables: fc.Arbitrary<RawTables> = fc.record({
  scalars: fc.dictionary(fc.constantFrom(...Object.keys(SCALARS)), anyValue).map((one) => new Map(Object.entries(one))),
  columns: fc
    .dictionary(fc.constantFrom(...NAMES), anyColumn, { maxKeys: 60 })
    .map((one) => new Map(Object.entries(one))),
  trouble: fc.constant(null),
});

test("given whatever a device can put into its tables, then there is a reading, and it is one by its own schema", () => {
  fc.assert(
    fc.property(anyTables, fc.constantFrom("all" as const, "run" as const), (tables, kind) => {
      const reading = makeReading(HEAD, kind, tables, 12);
      parseAs(DeviceReadingSchema, JSON.parse(JSON.stringify(reading)), "MESSAGE_INVALID", "The reading");
      for (const [part, value] of Object.entries(reading)) {
        if (value === null && part in { ports: 0, groups: 0, routes: 0, arp: 0 }) {
          expect(reading.unread.some((one) => one.part === part)).toBe(true);
        }
      }
    }),
    { numRuns: 400 },
  );
});

test("given a group's list that names a port which no table knows, then the list proves nothing by what is not in it", () => {
  const cell = (index: readonly number[], value: RawValue) => ({ index, value, fromMs: 0, toMs: 1 });
  const column = (...cells: Column["cells"]): Column => ({ cells, trouble: null });
  const tables: RawTables = {
    scalars: new Map(),
    columns: new Map([
      ["ifName", column(cell([7], new TextEncoder().encode("p7")))],
      ["dot1dBasePortIfIndex", column(cell([1], 7))],
      ["dot1qTpGroupEgressPorts", column(cell([10, 1, 0, 94, 67, 10, 4], Uint8Array.of(0b1100_0000)))],
    ]),
    trouble: null,
  };
  const { groups, unread } = makeReading(HEAD, "run", tables, 1);
  expect(groups).toEqual([{ vlan: 10, group: "01:00:5e:43:0a:04", ports: ["p7"] }]);
  expect(unread.find(({ part }) => part === "groups")).toMatchObject({ isCut: true });
});

test("given a counter past 2^53, then it is unknown rather than a number near it", () => {
  const cells = [{ index: [1], value: Uint8Array.of(0, 0xff, 0, 0, 0, 0, 0, 0, 1), fromMs: 0, toMs: 1 }];
  const tables: RawTables = {
    scalars: new Map(),
    columns: new Map([
      ["ifHCInMulticastPkts", { cells, trouble: null }],
      ["ifOperStatus", { cells, trouble: null }],
    ]),
    trouble: null,
  };
  expect(makeReading(HEAD, "run", tables, 1).ports?.[0]?.counters.inMulticast).toBeNull();
});
