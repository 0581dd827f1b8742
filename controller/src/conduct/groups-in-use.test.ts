import { expect, test } from "vitest";
import type { AgentEvidence, RunEvidence } from "../account/run-evidence.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { lookedAtOwnPortOnly, refuseStrangeTraffic, strangeTraffic } from "./groups-in-use.ts";

const look = (...groups: string[]): CompiledRun =>
  ({
    streams: groups.map((group, at) => ({ streamId: at, name: `s${at}`, group, port: 48_620 })),
  }) as unknown as CompiledRun;

interface Seen {
  readonly group: string;
  readonly port: number | null;
  readonly frames: number;
}

/** @param uses null: an agent that can't look at more than its own ports */
const agent = (name: string, uses: readonly Seen[] | null): [string, AgentEvidence] => [
  name,
  {
    agent: name,
    reports: [],
    watch: [
      {
        sinceNs: -1,
        streams: [],
        membership: [],
        unlistedMembership: 0,
        dropped: 0,
        ...(uses === null ? {} : { groupUse: uses.map((use) => ({ ...use, source: "192.0.2.9" })) }),
      },
    ],
    final: null,
    clock: null,
    lostAtNs: null,
    troubles: [],
  },
];
const evidence = (...agents: [string, AgentEvidence][]): RunEvidence =>
  ({ agents: new Map(agents) }) as unknown as RunEvidence;

test("strangeTraffic: given uses of kin, then the nearest is told, by whoever saw it, and others are counted", () => {
  const seen = evidence(
    agent("kiosk", [
      { group: "225.67.10.4", port: 6000, frames: 90 },
      { group: "239.195.10.4", port: 5004, frames: 5 },
    ]),
    agent("stand", [{ group: "225.67.10.4", port: 6000, frames: 91 }]),
    agent("office", []),
  );
  expect(strangeTraffic(look("239.195.10.4", "239.195.10.5"), seen)).toEqual([
    "239.195.10.4 (s0) is in use: kiosk saw 5 packets from 192.0.2.9 to it, port 5004; one more agent saw some",
  ]);
});

test.each([
  [
    "239.69.3.7",
    { group: "239.69.81.4", port: 5004, frames: 9 },
    "lies in 239.69.0.0/16, where devices for audio over IP",
  ],
  ["224.0.1.130", { group: "224.0.1.129", port: 319, frames: 1 }, "lies in 224.0.1.129 to 224.0.1.132, where clocks"],
  // An alias of the clocks' group by RFC 1112 section 6.4.
  [
    "239.128.1.129",
    { group: "224.0.1.129", port: 319, frames: 1 },
    "has the Ethernet address 01:00:5e:00:01:81 in common with 224.0.1.129",
  ],
])(
  "refuseStrangeTraffic: given %s, and clocks or audio devices in use there, then it is a refusal",
  (group, use, words) => {
    expect(() => refuseStrangeTraffic(look(group), evidence(agent("kiosk", [use])))).toThrow(words);
  },
);

test("lookedAtOwnPortOnly: given agents that can't look further, or that can't watch, then they are told", () => {
  const [name, blind] = agent("blind", null);
  const seen = evidence(agent("kiosk", []), agent("older", null), [name, { ...blind, watch: [] }]);
  expect(lookedAtOwnPortOnly(seen)).toEqual(["older", "blind"]);
  expect(strangeTraffic(look("239.195.10.4"), seen)).toEqual([]);
});
