import { expect, test } from "vitest";
import { seededRandom } from "../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../tests/simulation/simulate-run.ts";
import type { SimulatedFault, SimulatedStream } from "../../../tests/simulation/simulated-fault.ts";
import { segmentBetween, sketchSite } from "../../../tests/simulation/sketch-site.ts";
import type { Conclusion } from "./conclusion.ts";
import type { Finding } from "./finding/finding.ts";
import { locate } from "./locate.ts";
import type { RunObservations } from "./run/run-observations.ts";

// The sites here were drawn up for these tests. What must come out follows from the rule that a path is bad if and only
// if something on it is bad (N. Duffield, Simple network performance tomography, IMC 2003).
const terminal = sketchSite(
  [
    "tower--core",
    "core--sw-east",
    "core--sw-west",
    "core--hall",
    "sw-east--kiosk",
    "sw-east--gate",
    "sw-west--um-hub",
    "um-hub--desk",
    "um-hub--board",
    "sw-west--rt-annexe",
    "rt-annexe--sw-annexe",
    "sw-annexe--annexe-1",
    "sw-annexe--annexe-2",
  ],
  "core",
);
const board: SimulatedStream = {
  stream: "board",
  group: "233.252.0.1",
  source: "tower",
  listeners: ["kiosk", "gate", "desk", "board", "annexe-1", "annexe-2", "hall"],
  packets: 2_000,
};

function conclude(faults: readonly SimulatedFault[], streams: readonly SimulatedStream[] = [board]): Conclusion {
  return locate(terminal, simulateRun(terminal, streams, faults, seededRandom(1)));
}

const only = (conclusion: Conclusion): Finding => {
  expect(conclusion.findings).toHaveLength(1);
  return conclusion.findings[0] as Finding;
};

test("locate: given a sound site, then there is no finding", () => {
  expect(conclude([]).findings).toEqual([]);
});

test("locate: given a dead link to a switch, then its segment is the first suspect and the title names ports and hosts", () => {
  const segment = segmentBetween(terminal, "core", "sw-east");
  const finding = only(conclude([{ kind: "dead-segment", segment }]));
  expect(finding.kind).toBe("stops");
  expect(finding.suspects).toEqual([segment, "sw-east", segmentBetween(terminal, "sw-east", "core")]);
  expect(finding.title).toBe(
    "board stops between core:2 and sw-east:1: kiosk and gate got nothing, and everyone else got everything",
  );
  // Two hosts show it: were one of them elsewhere, the other's own cable would explain the rest.
  expect(finding.confidence).toBe(0.85);
  expect(finding.evidence.join(" ")).toContain("If one of kiosk and gate sits elsewhere than planned");
});

test.each([...terminal.segments.keys()])(
  "locate: given that everything on %s is lost, then it is the first suspect or in an ambiguity set that says why, if anybody misses anything",
  (segment) => {
    const observations = simulateRun(terminal, [board], [{ kind: "dead-segment", segment }], seededRandom(1));
    const isVisible = observations.listeners.some((listener) => listener.receivedPackets === 0);
    const { findings } = locate(terminal, observations);
    expect(findings).toHaveLength(isVisible ? 1 : 0);
    for (const finding of findings) {
      expect(finding.suspects).toContain(segment);
      expect(new Set(finding.suspects).size).toBe(finding.suspects.length);
      expect(finding.evidence.join(" ")).toMatch(/no listener tells these apart|would tell them apart|looks? the same/);
    }
  },
);

test("locate: given lost membership reports of a switch, then the reverse segment is among the suspects and the evidence explains it", () => {
  const reports = segmentBetween(terminal, "sw-west", "core");
  const finding = only(conclude([{ kind: "lost-reports", segment: reports }]));
  expect(finding.suspects[0]).toBe(segmentBetween(terminal, "core", "sw-west"));
  expect(finding.suspects).toContain(reports);
  expect(finding.evidence.join(" ")).toContain("Membership reports travel the other way");
});

test("locate: given a hub with another member that still gets the stream, then lost reports are no explanation for its neighbour", () => {
  const segment = segmentBetween(terminal, "um-hub", "desk");
  const finding = only(conclude([{ kind: "dead-segment", segment }]));
  // The hub floods, and the other member's reports keep the port open: only the link or the host itself is left.
  expect(finding.suspects).toEqual([segment, "desk"]);
});

test("locate: given a second stream through the same place, then only the group-specific causes are left", () => {
  const maps: SimulatedStream = { ...board, stream: "maps", group: "233.252.0.2" };
  const segment = segmentBetween(terminal, "core", "sw-east");
  const finding = only(conclude([{ kind: "segment-group", segment, group: "233.252.0.1" }], [board, maps]));
  expect(finding.kind).toBe("group-specific");
  expect(finding.streams).toEqual(["board"]);
  expect(finding.suspects[0]).toBe(segment);
  expect(finding.title).toContain("board alone stops between core:2 and sw-east:1");
});

test("locate: given a stop in mid-run, then the same segment is named and the time of the stop is told", () => {
  const segment = segmentBetween(terminal, "core", "sw-east");
  const finding = only(conclude([{ kind: "dead-segment", segment, fromMs: 12_300 }]));
  expect(finding.suspects[0]).toBe(segment);
  expect(finding.title).toContain("kiosk and gate got nothing after 12.3 s");
});

test("locate: given a slow stream that is cut shortly before its end, then it stops; it does not lose", () => {
  const segment = segmentBetween(terminal, "sw-east", "kiosk");
  const slow = { ...board, packets: 100 };
  const finding = only(conclude([{ kind: "dead-segment", segment, fromMs: 750 }], [slow]));
  expect(finding.kind).toBe("stops");
  expect(finding.suspects).toContain(segment);
});

test("locate: given a slow stream with long gaps whose last gap is at its end, then it loses; it does not stop", () => {
  const observations = simulateRun(terminal, [{ ...board, packets: 100 }], [], seededRandom(1));
  const listeners = observations.listeners.map((listener) =>
    listener.host === "kiosk"
      ? {
          ...listener,
          receivedPackets: 45,
          lost: [
            [10, 29],
            [40, 51],
            [77, 99],
          ] as const,
        }
      : listener,
  );
  const { findings } = locate(terminal, { ...observations, listeners });
  expect(findings.map(({ kind }) => kind)).not.toContain("stops");
});

test("locate: given a source that sent nothing, then that is said and no segment is blamed", () => {
  const silent = simulateRun(terminal, [board], [{ kind: "dead-sender", host: "tower" }], seededRandom(1));
  const streams = silent.streams.map((s) => ({ ...s, sentPackets: 0, sourceState: "not-sending" as const }));
  const finding = only(locate(terminal, { ...silent, streams }));
  expect(finding.kind).toBe("source-not-sending");
  expect(finding.suspects).toEqual(["tower"]);
});

test("locate: given everybody silent although the source sent, then the first stretch up to the branch is suspect", () => {
  const finding = only(conclude([{ kind: "dead-sender", host: "tower" }]));
  expect(finding.kind).toBe("stops");
  expect(finding.suspects[0]).toBe(segmentBetween(terminal, "tower", "core"));
  expect(finding.suspects).toContain("tower");
  expect(finding.title).toContain("nobody else reports");
});

test("locate: given agents that do not report, then they neither accuse nor clear", () => {
  const stream: SimulatedStream = { ...board, listeners: ["kiosk", "hall"], silentAgents: ["gate", "desk"] };
  expect(conclude([], [stream]).findings).toEqual([]);
  const finding = only(conclude([{ kind: "dead-receiver", host: "kiosk" }], [stream]));
  expect(finding.suspects).toContain(segmentBetween(terminal, "core", "sw-east"));
  expect(finding.suspects).toContain("kiosk");
});

test("locate: given no report at all, then the conclusion is inconclusive", () => {
  const stream: SimulatedStream = { ...board, listeners: [], silentAgents: ["kiosk"] };
  expect(only(conclude([], [stream])).kind).toBe("inconclusive");
});

test("locate: given two faults in different places, then each is named by a finding of its own", () => {
  const east = segmentBetween(terminal, "core", "sw-east");
  const annexe = segmentBetween(terminal, "sw-annexe", "annexe-2");
  const { findings } = conclude([
    { kind: "dead-segment", segment: east },
    { kind: "dead-segment", segment: annexe },
  ]);
  expect(findings.map((finding) => finding.suspects[0]).toSorted()).toEqual([east, annexe].toSorted());
});

test("locate: given a frame at a bystander on the way, then its path is cleared", () => {
  const stream: SimulatedStream = { ...board, listeners: ["annexe-1", "annexe-2", "hall"] };
  const segment = segmentBetween(terminal, "rt-annexe", "sw-annexe");
  const run = simulateRun(terminal, [stream], [{ kind: "dead-segment", segment }], seededRandom(1));
  const seen: RunObservations = {
    ...run,
    bystanders: [
      {
        stream: "board",
        host: "desk",
        canSee: true,
        frames: 2_000,
        ranges: [[0, 1_999]],
        firstMs: 0,
        lastMs: 19_990,
        isGroupUsedByHost: null,
      },
    ],
  };
  const core = segmentBetween(terminal, "core", "sw-west");
  expect(locate(terminal, run).findings.find((f) => f.kind === "stops")?.suspects).toContain(core);
  expect(locate(terminal, seen).findings.find((f) => f.kind === "stops")?.suspects).not.toContain(core);
});
