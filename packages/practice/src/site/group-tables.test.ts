import { loadSitePlan } from "@dyetrace/site";
import { expect, test } from "vitest";
import { layPracticeSite } from "../layout/practice-layout.ts";
import { readTable } from "./group-tables.ts";

const LAYOUT = layPracticeSite(
  loadSitePlan(
    `
site: Quillfen
nodes: { core: { kind: switch, querier: true }, tower: { kind: host }, kiosk: { kind: host } }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0" ]
`,
    "plan.yaml",
  ),
  null,
);
const NODES = [...LAYOUT.nodes.values()].filter(({ name }) => name === "core");

// Written by iproute2 6.1 (`bridge -d -s -j mdb show`) on a Linux bridge; names of ports are this plan's.
const WRITTEN = `[{"mdb":[
{"index":2,"dev":"br0","port":"br0","grp":"ff02::6a","state":"temp","flags":[],"timer":" 260.00"},
{"index":2,"dev":"br0","port":"p2","grp":"232.1.1.1","src":"10.0.0.1","state":"temp","filter_mode":"include","protocol":"static","flags":[],"timer":" 259.99"},
{"index":2,"dev":"br0","port":"p1","grp":"ff15::1234","state":"permanent","protocol":"static","flags":[],"timer":"   0.00"},
{"index":2,"dev":"br0","port":"p2","grp":"239.1.1.1","state":"temp","filter_mode":"exclude","protocol":"kernel","flags":[],"timer":"   4.27"},
{"index":2,"dev":"br0","port":"p2","grp":"232.1.1.1","state":"temp","filter_mode":"include","source_list":[{"address":"10.0.0.1","timer":"259.99"}],"protocol":"kernel","flags":[],"timer":"   0.00"}
],"router":{}}]`;

test("readTable: given a bridge's table, then each group at a port of the plan has what is left of its timer, and the switch's own are left out", () => {
  const entries = readTable(WRITTEN, NODES, 3);
  expect(entries.map(({ port, towards, group, family, leftMs }) => [port, towards, group, family, leftMs])).toEqual([
    ["2", "kiosk", "232.1.1.1", 4, 259_990],
    ["1", "tower", "ff15::1234", 6, null],
    ["2", "kiosk", "239.1.1.1", 4, 4270],
  ]);
  expect(entries.every(({ node, vlan, agoMs }) => node === "core" && vlan === null && agoMs === 3)).toBe(true);
});

test("readTable: given an empty answer, as of a bridge that is not there any more, then nothing", () => {
  expect(readTable("", NODES, 0)).toEqual([]);
  expect(readTable("[{}]", NODES, 0)).toEqual([]);
});
