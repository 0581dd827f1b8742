import { expect, test } from "vitest";
import { faultFileOf } from "./fault-file.ts";

test("faultFileOf: given values with units, numbers, flags and empty ones, then a file that says them", () => {
  const draft = { fault: "drop", on: "core:1>edge:24", values: { share: " 5 % ", every: "", group: "239.195.10.4" } };
  expect(faultFileOf(draft)).toBe(
    'faults:\n  - {"fault":"drop","on":"core:1>edge:24","share":"5 %","group":"239.195.10.4"}\n',
  );
  expect(faultFileOf({ fault: "table-size", on: "core", values: { max: "8" } })).toContain('"max":8');
  expect(faultFileOf({ fault: "no-querier", on: "core", values: { silent: "true" } })).toContain('"silent":true');
});
