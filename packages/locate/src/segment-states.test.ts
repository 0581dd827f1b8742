import { loadSitePlan } from "@dyetrace/site";
import { expect, test } from "vitest";
import { observeRouted } from "../../../tests/simulation/routed/routed-scene.ts";
import { RoutedWorld } from "../../../tests/simulation/routed/routed-world.ts";
import { seededRandom } from "../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../tests/simulation/simulate-run.ts";
import { sketchSite } from "../../../tests/simulation/sketch-site.ts";
import { locate } from "./locate.ts";

const site = sketchSite(["tower--core", "core--sw-east", "sw-east--kiosk", "sw-east--desk", "core--hall"], "core");
const board = {
  stream: "board",
  group: "233.252.0.1",
  source: "tower",
  listeners: ["kiosk", "desk", "hall"],
  packets: 2_000,
};
const statusesWith = (faults: Parameters<typeof simulateRun>[2]): ReadonlyMap<string, string> =>
  new Map(
    locate(site, simulateRun(site, [board], faults, seededRandom(1))).segments.map(({ id, status }) => [id, status]),
  );

test("segment states: given a switch that works for three quarters of the run and then stops, then it is not called ok, and what works is", () => {
  const statuses = statusesWith([{ kind: "dead-node", node: "sw-east", fromMs: 15_000 }]);
  expect([statuses.get("sw-east"), statuses.get("core"), statuses.get("hall")]).toEqual(["unknown", "ok", "ok"]);
});

test("segment states: given a healthy site, then every node on the way is ok", () => {
  const statuses = statusesWith([]);
  expect(["core", "sw-east", "kiosk", "desk", "hall"].map((node) => statuses.get(node))).toEqual(Array(5).fill("ok"));
});

test("segment states: given a cable that is cut in mid-run, then neither direction is called ok, though both had been", () => {
  const streams = [
    board,
    { ...board, stream: "paging", group: "233.252.0.2", source: "hall", listeners: ["tower", "desk", "kiosk"] },
  ];
  const faults = [
    { kind: "outage", place: "tower:1>core:1", fromMs: 15_000 },
    { kind: "outage", place: "core:1>tower:1", fromMs: 15_000 },
  ] as const;
  const { segments, findings } = locate(site, simulateRun(site, streams, faults, seededRandom(1)));
  const statusOf = (id: string) => segments.find((one) => one.id === id)?.status;
  expect(findings.map(({ kind }) => kind)).toContain("stops");
  expect([statusOf("tower:1>core:1"), statusOf("core:1>tower:1")]).not.toContain("ok");
  // What was sent after that and came proves its way.
  expect(statusOf("hall:1>core:3")).toBe("ok");
});

test("segment states: given a router that hears no reports in one VLAN, then no suspect is called ok, nor its trunk as a whole", () => {
  const plan = loadSitePlan(
    `site: Two VLANs
vlans: { 1: {}, 2: {} }
nodes: { core: { kind: switch, querier: true }, ra: { kind: router }, a1: { kind: host }, a2: { kind: host }, b1: { kind: host }, b2: { kind: host } }
links:
  - { between: [core:1, a1:eth0], vlan: 1 }
  - { between: [core:2, a2:eth0], vlan: 1 }
  - { between: [core:3, b1:eth0], vlan: 2 }
  - { between: [core:4, b2:eth0], vlan: 2 }
  - { between: [core:11, ra:lan], vlan: [1, 2] }
`,
    "two.yaml",
  );
  const random = seededRandom(3);
  const streams = [
    { stream: "board", group: "239.195.7.1", source: "a1", listeners: ["a2", "b1", "b2"], bystanders: [] },
    { stream: "till", group: "239.195.7.2", source: "b1", listeners: ["a1", "a2", "b2"], bystanders: [] },
  ];
  const deaf = "core:11>ra:lan vlan 2";
  const run = observeRouted(new RoutedWorld(plan, "static", random), streams, { reportless: new Set([deaf]) }, random);
  const { findings, segments } = locate(plan, run);
  const suspects = findings.flatMap((finding) => finding.suspects);
  expect(suspects).toContain(deaf);
  const isOk = new Set(segments.flatMap(({ id, status }) => (status === "ok" ? [id] : [])));
  for (const place of [...suspects, "core:11>ra:lan", "ra:lan>core:11"])
    expect([place, isOk.has(place)]).toEqual([place, false]);
  expect(isOk.has("a1:eth0>core:1")).toBe(true);
});
