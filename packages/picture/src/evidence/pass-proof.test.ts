import { buildSiteGraph } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { passProof } from "./pass-proof.ts";

const host = (name: string, agent: string | null) => ({ name, kind: "host", isQuerier: false, agent }) as const;
const graph = buildSiteGraph(
  "site",
  [
    { name: "core", kind: "switch", isQuerier: true, agent: null },
    host("tower", "tower"),
    host("kiosk", "kiosk"),
    host("desk", null),
    host("till", "till"),
  ],
  [],
);
const report = (sent: number, received: number | null): RunReport =>
  ({
    streams: [{ name: "board", source: "tower", payloadBytes: 1250, rateBps: 1e6 }],
    receipts: [{ stream: "board", listener: "kiosk", sent, received }],
    bystanders: [],
    segments: [
      { id: "a", status: "ok" },
      { id: "b", status: "unknown" },
    ],
  }) as unknown as RunReport;

test("passProof: given 3000 packets and none lost, then loss above 0.0998 % would have been seen, and an outage of one packet", () => {
  const words = passProof(report(3000, 3000), graph).join("\n");
  // 1 - 0.05^(1/3000), of which 3/3000 is the rule of three (Clopper and Pearson, Biometrika 26, 1934).
  expect(words).toContain("a steady loss above 0.0998 %");
  expect(words).toContain("an outage from 10 ms on");
  expect(words).toContain("1 listener joined, and 3000 packets arrived");
});

test("passProof: given what nobody watched, then it is said", () => {
  const words = passProof(report(3000, 3000), graph);
  expect(words).toContain("Nobody who had not joined watched for frames, so a leak would not have been seen.");
  expect(words).toContain("Not watched: 1 of 2 segments and nodes, of which this run can't tell.");
  expect(words).toContain("Not watched: 1 host without an agent.");
  expect(words).toContain("Not asked: till.");
});

test("passProof: given a listener that told nothing, then no smallest fault is claimed", () => {
  const words = passProof(report(3000, null), graph).join("\n");
  expect(words).not.toContain("steady loss");
  expect(words).toContain("Of 1 of them the run cannot tell.");
});
