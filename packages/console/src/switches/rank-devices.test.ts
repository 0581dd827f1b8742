import type { ReadingSummary } from "@dyetrace/wire/devices/reading-summary";
import { expect, test } from "vitest";
import { rankDevices, saySummary } from "./rank-devices.ts";

const summary = (node: string, parts: Partial<ReadingSummary> = {}): ReadingSummary => ({
  ...{ node, readAt: "2026-11-30T10:00:00.000Z", by: "snmp-v3" },
  ...{ ports: 24, down: 0, faulty: 0, half: 0, neighbours: 1, groups: 2, unread: null },
  ...parts,
});

test("rankDevices: given devices in every state, then the worst comes first, and one that was not read before those that are well", () => {
  const all = [
    summary("well"),
    summary("dropping", { faulty: 1 }),
    summary("down", { down: 3 }),
    summary("worse", { faulty: 5 }),
    summary("half", { half: 1 }),
    summary("silent", { ports: null, down: null, faulty: null, half: null, unread: "It did not answer." }),
  ];
  const names = [...all.map(({ node }) => ({ node })), { node: "unread" }];
  const ranked = rankDevices(names, new Map(all.map((one) => [one.node, one])));
  expect(ranked.map(({ node }) => node)).toEqual(["silent", "worse", "dropping", "half", "down", "unread", "well"]);
});

test("saySummary: given figures and unknown ones, then plurals agree, and unknown is said and is no zero", () => {
  expect(saySummary(summary("a", { ports: 1, neighbours: 2, groups: null }))).toBe(
    "1 port, 0 without a link, no errors or drops, 2 neighbours, group table unknown",
  );
  expect(saySummary(summary("a", { faulty: null, half: 1, neighbours: null }))).toBe(
    "24 ports, 0 without a link, errors unknown, 1 port at half duplex, neighbours unknown, 2 groups",
  );
  expect(saySummary(summary("a", { ports: null }))).toBe("it could not be read");
});
