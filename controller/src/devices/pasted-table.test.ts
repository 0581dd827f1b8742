import { Fault } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { readPastedTable } from "./pasted-table.ts";

test("given a pasted table, then each group has its ports, in whatever order the columns stand", () => {
  const text =
    'Group;VLAN;Port\r\n239.195.10.4;10;"1"\r\n239.195.10.4;10;3\n\n01:00:5E:43:0A:05;;24\n239.195.10.4;10;3\n';
  expect(readPastedTable(text, "table.csv")).toEqual([
    { vlan: 10, group: "239.195.10.4", ports: ["1", "3"] },
    { vlan: null, group: "01:00:5e:43:0a:05", ports: ["24"] },
  ]);
});

test.each([
  ["a,b\n1,2\n", 1, "does not name the columns"],
  ["port,group\n1,239.195.10.4\n2,192.0.2.1\n", 3, '"192.0.2.1" is no group'],
  ["port,vlan,group\n1,4095,239.195.10.4\n", 2, '"4095" is no VLAN'],
  ["port,group\n,239.195.10.4\n", 2, "name is missing"],
])("given the table %j, then line %i is named: %s", (text, line, words) => {
  try {
    readPastedTable(text, "table.csv");
    expect.unreachable();
  } catch (error) {
    expect(error).toBeInstanceOf(Fault);
    expect(error as Fault).toMatchObject({ code: "OPTION_INVALID", place: { file: "table.csv", line } });
    expect((error as Fault).message).toContain(words);
  }
});
