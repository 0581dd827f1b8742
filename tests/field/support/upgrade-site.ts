import { expect } from "vitest";
import type { Change } from "../../../controller/src/compare/changes.ts";
import type { RunComparison } from "../../../controller/src/compare/compare-runs.ts";

/** The site whose runs are compared, before and after a change that a firmware may bring. */
export const UPGRADE_PLAN = `site: Quillfen Upgrade
nodes:
  core: { kind: switch, querier: true }
  east: { kind: switch }
  west: { kind: switch }
  tower: { kind: host }
  kiosk-1: { kind: host }
  kiosk-2: { kind: host }
  board-1: { kind: host }
  board-2: { kind: host }
links:
  - core:1 -- east:24
  - core:2 -- west:24
  - core:9 -- tower:eth0
  - east:1 -- kiosk-1:eth0
  - east:2 -- kiosk-2:eth0
  - west:1 -- board-1:eth0
  - west:2 -- board-2:eth0
`;

/** 1000 packets/s for the loss, and another group that is joined and left four times by two hosts in the east and one in the west. */
export const UPGRADE_SCENARIO = `scenario: upgrade
streams:
  - { name: board, source: tower, group: 239.195.10.4, rate: 1.6 Mbit/s, payload: 200 B }
  - { name: zap, source: tower, group: 239.195.10.5, rate: 320 kbit/s, payload: 200 B }
timeline:
  - { at: 0s, join: board, agents: all }
  - { at: 1s, emit: [board, zap] }
  - { at: 2s, join: zap, agents: [kiosk-1, kiosk-2, board-1], repeat: { every: 7s, times: 4 } }
  - { at: 3.5s, leave: zap, agents: [kiosk-1, kiosk-2, board-1], repeat: { every: 7s, times: 4 } }
  - { at: 30s, stop: [board, zap] }
`;

export interface UpgradeChange {
  readonly name: string;
  readonly faults: readonly string[];
  /** Shows in a run of seconds, without any chance in it. */
  readonly isPlain: boolean;
  /** What a comparison with a run before the change has to say. */
  readonly holds: (comparison: RunComparison) => void;
}

const changesIn = ({ changes }: RunComparison, ...what: readonly string[]): readonly Change[] =>
  changes.filter((change) => what.includes(change.what));

export const UPGRADE_CHANGES: readonly UpgradeChange[] = [
  {
    // A port is closed by whichever comes first: the querier's specific queries running out, or the switch's own timer.
    // So both have to be slower for one switch to be slow.
    name: "a leave delay of 5 s instead of 2 s at the eastern switch",
    isPlain: false,
    faults: [
      "querier-timers, on: core, last-member-interval: 2.5s",
      "querier-timers, on: east, last-member-interval: 2.5s",
    ],
    holds: (comparison) => {
      expect(comparison.outcome).toBe("worse");
      expect(changesIn(comparison, "leave delay")).toMatchObject([
        { outcome: "worse", stream: "zap", places: ["core:1>east:24", "east"] },
      ]);
      expect(changesIn(comparison, "loss")).toEqual([]);
    },
  },
  {
    name: "0.1 % more loss on the link to the east",
    isPlain: false,
    faults: ["drop, on: 'core:1>east:24', share: 0.1 %, group: 239.195.10.4"],
    holds: (comparison) => {
      expect(comparison.outcome).toBe("worse");
      const losses = changesIn(comparison, "loss").filter(({ stream }) => stream === "board");
      expect(losses).toMatchObject([{ outcome: "worse", listeners: ["kiosk-1", "kiosk-2"] }]);
      expect(losses[0]?.places).toContain("core:1>east:24");
    },
  },
  {
    name: "snooping lost on the western switch",
    isPlain: true,
    faults: ["snooping-off, on: west"],
    holds: (comparison) => {
      expect(comparison.outcome).toBe("worse");
      const leaks = changesIn(comparison, "leaks", "frames without joining");
      expect(leaks.length).toBeGreaterThan(0);
      expect(leaks.flatMap(({ places }) => places)).toContain("west");
    },
  },
];

/** Runs that were really made, one after the other, on one practice site; `changed` in the order of the changes. */
export interface UpgradeRecording<Report> {
  readonly same: readonly Report[];
  readonly changed: readonly { readonly name: string; readonly runs: readonly Report[] }[];
}
