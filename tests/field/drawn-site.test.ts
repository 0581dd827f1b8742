import { setTimeout as sleep } from "node:timers/promises";
import { checkAgainstSite, drawSite, loadSitePlan, type Observations, writeDrawnPlan } from "@dyetrace/site";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type PracticeBench, raiseBench, shippedScenario } from "./support/practice-bench.ts";

/**
 * A site whose switches talk: announced and answered for by Debian's lldpd and snmpd, which know nothing of us, on kernel bridges.
 *
 *   tower -- core --+-- pier -- kiosk, booth
 *                   +-- hall --+-- hub (unmanaged) -- till-1, till-2
 *                              +-- desk
 */
const PLAN = `
site: Quillfen Ferry Terminal
nodes:
  core: { kind: switch, querier: true }
  pier: { kind: switch }
  hall: { kind: switch }
  hub: { kind: unmanaged }
  tower: { kind: host }
  kiosk: { kind: host }
  booth: { kind: host }
  till-1: { kind: host }
  till-2: { kind: host }
  desk: { kind: host }
links:
  - { between: [core:1, pier:24], speed: 1 Gbit/s }
  - { between: [core:2, hall:24], speed: 1 Gbit/s }
  - core:9 -- tower:eth0
  - pier:1 -- kiosk:eth0
  - pier:2 -- booth:eth0
  - { between: [hall:3, hub:1], speed: 100 Mbit/s }
  - hub:2 -- till-1:eth0
  - hub:3 -- till-2:eth0
  - hall:5 -- desk:eth0
`;
const AGENTS = 6;
const HEARD_WITHIN_MS = 30_000;

let bench: PracticeBench;
let seen: Observations;

beforeAll(async () => {
  bench = await raiseBench(PLAN, { switchesTalk: true });
  seen = await observed();
});
afterAll(() => bench?.[Symbol.asyncDispose]());

/** Once every agent has told what it knows, those that can hear a switch have, and the switches have heard each other. */
async function observed(): Promise<Observations> {
  for (const giveUpAt = performance.now() + HEARD_WITHIN_MS; ; await sleep(300)) {
    const hosts = await bench.client.ask("readSurroundings");
    const hearing = hosts.filter(({ surroundings }) => (surroundings.announcements?.length ?? 0) > 0);
    if ((hosts.length === AGENTS && hearing.length >= 4) || performance.now() > giveUpAt) {
      const readings: DeviceReading[] = [];
      for (const node of ["core", "pier", "hall"]) {
        readings.push(await bench.client.ask("readDevice", { path: { node } }));
      }
      const neighbours = readings.map((reading) => reading.neighbours?.length ?? 0);
      if (neighbours.join() === "2,1,1" || performance.now() > giveUpAt) return { hosts, readings };
    }
  }
}

test("announcements: given lldpd on the switches, then each agent hears the switch and port that its plan gives it, and none behind the hub", () => {
  const heard = new Map(
    seen.hosts.map(({ agent, surroundings }) => [
      agent,
      surroundings.announcements?.map(({ announcement: a }) => `${a.systemName}:${a.portId} ${a.capabilities}`),
    ]),
  );
  expect(Object.fromEntries(heard)).toEqual({
    tower: ["core:9 bridge"],
    kiosk: ["pier:1 bridge"],
    booth: ["pier:2 bridge"],
    desk: ["hall:5 bridge"],
    // A bridge keeps frames to 01:80:c2:00:00:0e to itself (IEEE 802.1Q, table 8-1).
    "till-1": [],
    "till-2": [],
  });
});

test("announcements: given the kernel's list of packet sockets, then one of the agent's is for LLDP alone", async () => {
  const { stdout } = await bench.site.exec("kiosk", ["cat", "/proc/net/packet"]);
  expect(stdout).toMatch(/ 88cc /);
});

test("plan draw: given all that was seen, then the drawn plan has the site's links, speeds and kinds", () => {
  const drawing = drawSite(seen, "Quillfen Ferry Terminal");
  const drawn = loadSitePlan(writeDrawnPlan(drawing), "drawn.yaml");
  const links = drawn.links.map(({ a, b }) => [`${a.node}:${a.port}`, `${b.node}:${b.port}`].toSorted().join(" -- "));
  expect(links.toSorted()).toEqual(
    [
      "core:1 -- pier:24",
      "core:2 -- hall:24",
      "core:9 -- tower:eth0",
      "kiosk:eth0 -- pier:1",
      "booth:eth0 -- pier:2",
      "hall:3 -- unmanaged-1:1",
      "till-1:eth0 -- unmanaged-1:2",
      "till-2:eth0 -- unmanaged-1:3",
      "desk:eth0 -- hall:5",
    ].toSorted(),
  );
  const speed = (node: string): number | null | undefined =>
    drawn.links.find(({ a, b }) => [a.node, b.node].includes(node))?.speedBps;
  expect([speed("pier"), speed("unmanaged-1")]).toEqual([1e9, 1e8]);
  expect(drawing.questions).toEqual([expect.stringMatching(/What stands between hall:3, till-1, till-2\?/)]);
});

test("plan check --against-site: given the plan as it is, then nothing differs; given two hosts exchanged, then both are named", () => {
  expect(checkAgainstSite(loadSitePlan(PLAN, "plan.yaml"), seen).contradictions).toEqual([]);
  const swapped = PLAN.replace("pier:1 -- kiosk", "pier:1 -- desk").replace("hall:5 -- desk", "hall:5 -- kiosk");
  const found = checkAgainstSite(loadSitePlan(swapped, "plan.yaml"), seen).contradictions;
  expect(found.map(({ kind, places }) => `${kind} ${places[0]}`).toSorted()).toEqual([
    "elsewhere desk",
    "elsewhere kiosk",
  ]);
  expect(found.map(({ sentence }) => sentence).join("\n")).toContain("it seems to hang at pier:1");
});

test("before a run: given a plan with two hosts exchanged, then that is said before anything is sent, and in the report", async () => {
  const swapped = PLAN.replace("pier:1 -- kiosk", "pier:1 -- desk").replace("hall:5 -- desk", "hall:5 -- kiosk");
  const words: string[] = [];
  let sentAt: number | null = null;
  const report = await bench.run(shippedScenario("reach"), {
    plan: swapped,
    parameters: { source: "tower", length: "4s" },
    onProgress: (progress) => {
      if (progress.kind === "step") words.push(progress.text);
      if (progress.kind === "go") sentAt ??= words.length;
    },
  });
  const told = words.findIndex((text) => text.includes("kiosk hangs elsewhere"));
  expect(told).toBeGreaterThanOrEqual(0);
  expect(told).toBeLessThan(sentAt ?? 0);
  expect(report.notes.join("\n")).toContain("desk hangs elsewhere");
  for (const { confidence, suspects } of report.findings)
    if (suspects.length > 0) expect(confidence).toBeLessThanOrEqual(0.8);
});
