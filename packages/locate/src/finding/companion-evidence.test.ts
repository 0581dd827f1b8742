import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { SimulatedStream } from "../../../../tests/simulation/simulated-fault.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import { locate } from "../locate.ts";
import type { RunObservations, SeqRange } from "../run/run-observations.ts";
import { companionEvidence, unicastBeside } from "./companion-evidence.ts";

/** What tells a fault of multicast from one of the link, and from one of the host; the observations are drawn up here. */
const site = sketchSite(["tower--core", "core--sw-east", "sw-east--kiosk", "sw-east--desk", "core--hall"], "core");
const board: SimulatedStream = {
  stream: "board",
  group: "233.252.0.1",
  source: "tower",
  listeners: ["kiosk", "desk", "hall"],
  packets: 2_000,
};

test("companion: given unicast to the same hosts, then the finding says whether the fault is multicast's", () => {
  const segment = segmentBetween(site, "core", "sw-east");
  const observations = simulateRun(site, [board], [{ kind: "dead-segment", segment }], seededRandom(1));
  const beside = (receivedPackets: number): RunObservations => ({
    ...observations,
    listeners: observations.listeners.map((one) => ({ ...one, companion: { sentPackets: 30, receivedPackets } })),
  });
  const [sound] = locate(site, beside(30)).findings;
  expect(sound?.evidence.join(" ")).toContain("30 of 30 packets to kiosk");
  expect(sound?.evidence.join(" ")).toContain("the fault is multicast's");
  const [poor] = locate(site, beside(0)).findings;
  expect(poor?.evidence.join(" ")).toContain("Unicast from the same source fails too: 0 of 30 packets to kiosk");
  expect(poor?.advice).toContain("Unicast does not come through either");
});

const listenersWith = (sentPackets: number, receivedPackets: number, hosts: readonly string[]) =>
  simulateRun(site, [board], [], seededRandom(1))
    .listeners.filter(({ host }) => hosts.includes(host))
    .map((one) => ({ ...one, companion: { sentPackets, receivedPackets } }));

test("companion: given a small loss and few packets beside it, then nothing is said of multicast, and how many would tell", () => {
  // A loss of 0.5 % at least: ln 0.01 / ln 0.995 = 918.7 packets without a loss.
  const open = unicastBeside(listenersWith(100, 100, ["kiosk"]), 0.005);
  expect(companionEvidence(open)).toEqual([
    "Unicast from the same source: 100 of 100 packets to kiosk. That is too little to say whether it loses as much: 919 packets without a loss would show that it does not (91.9 s at 10 packets/s).",
  ]);
  expect(companionEvidence(unicastBeside(listenersWith(919, 919, ["kiosk"]), 0.005)).join("")).toContain(
    "the fault is multicast's",
  );
});

test("companion: given several hosts behind one loss, then what their companions say together counts", () => {
  const all = unicastBeside(listenersWith(500, 500, ["kiosk", "desk"]), 0.005);
  expect(all.sound.map(({ host }) => host)).toEqual(["kiosk", "desk"]);
});

test("companion: given unicast that loses too, then it is told apart whether it may lose as much as the stream", () => {
  expect(unicastBeside(listenersWith(1000, 990, ["kiosk"]), 0.006).poor).toHaveLength(1);
  const slight = unicastBeside(listenersWith(1000, 990, ["kiosk"]), 0.3);
  expect(companionEvidence(slight).join("")).toContain("loses as well, but less: 990 of 1000 packets to kiosk");
  expect(companionEvidence(slight).join("")).not.toContain("the fault is multicast's");
});

test("host loss: given a long gap that the host's own counter accounts for, then the host is told and no segment is blamed", () => {
  const observations = simulateRun(site, [board], [], seededRandom(1));
  const lost: SeqRange = [400, 799];
  const listeners = observations.listeners.map((one) =>
    one.host === "kiosk"
      ? { ...one, lost: [lost], receivedPackets: one.receivedPackets - 400, hostLostPackets: 400 }
      : one,
  );
  const { findings } = locate(site, { ...observations, listeners });
  expect(findings.map(({ kind, suspects }) => [kind, suspects])).toEqual([["host-side-loss", ["kiosk"]]]);
});
