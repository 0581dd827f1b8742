import { expect, test } from "vitest";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import type { DeviceObservation, PortCount } from "../run/device-observations.ts";
import { chooseBurst, framesThatStandOut } from "./choose-burst.ts";

const site = sketchSite(["tower--core", "core--sw-east", "sw-east--kiosk", "core--hall"], "core");
const trunk = segmentBetween(site, "core", "sw-east");
const finding = { kind: "stops" as const, streams: ["board"], suspects: [trunk, "sw-east"] };
const count = (quietPerS: number | null): PortCount => ({
  ...{ frames: 900, quietPerS, quietS: 2, fromMs: -1_000, toMs: 13_000, skewMs: 200 },
});
/** @param quietPerS at the trunk's two ends; the port to hall is far noisier and no suspect's */
const devices = (quietPerS: number | null): DeviceObservation[] => [
  {
    ...{ node: "core", tables: [] },
    ports: [
      { port: trunk.split(">")[0]?.split(":")[1] ?? "", vlan: null, in: null, out: count(quietPerS) },
      {
        port: segmentBetween(site, "core", "hall").split(">")[0]?.split(":")[1] ?? "",
        vlan: null,
        in: null,
        out: count(9_000),
      },
    ],
  },
];
const sent = new Map([["board", 1_000]]);

test("given other traffic beside the suspects that hides the run, then the burst stands out of it by eight standard deviations", () => {
  const burst = chooseBurst(site, [finding], devices(200), sent, 5);
  expect(burst).toMatchObject({ streams: ["board"], port: trunk.split(">")[0], othersPerS: 200 });
  // By hand: 1000 frames, 200 x 25 / 2 of the estimate's own error, 0.3 x 1000 squared, 40 squared, 3 squared.
  const sigma = Math.sqrt(1000 + 2500 + 300 ** 2 + 40 ** 2 + 9);
  expect(burst?.packets).toBe(Math.ceil(8 * sigma));
  expect(framesThatStandOut(count(200), 5)).toBe(burst?.packets);
});

test.each([
  ["quiet ports", [finding], devices(1)],
  ["a noise that nobody measured", [finding], devices(null)],
  ["one suspect", [{ ...finding, suspects: [trunk] }], devices(200)],
  ["a finding that is not of the way", [{ ...finding, kind: "leaks" as const }], devices(200)],
  ["no device", [finding], []],
])("given %s, then no burst is called for", (_, findings, read) => {
  expect(chooseBurst(site, findings, read, sent, 5)).toBeNull();
});
