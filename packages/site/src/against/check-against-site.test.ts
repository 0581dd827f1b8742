import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { drawSite } from "../draw/draw-site.ts";
import { campus, simulateObservations } from "../draw/simulate-observations.ts";
import { updatePlan } from "../draw/update-plan.ts";
import { loadSitePlan } from "../plan/load-site-plan.ts";
import { checkAgainstSite } from "./check-against-site.ts";

const textOf = (name: string): string =>
  readFileSync(new URL(`../../../practice/demo/${name}`, import.meta.url), "utf8");
const DEMO = textOf("quillfen.yaml");
const site = loadSitePlan(DEMO, "quillfen.yaml");
const SEEN = simulateObservations(site);

/** The demo plan with some of its words exchanged, held against the site as it is. */
function check(...changes: readonly (readonly [from: string, to: string])[]) {
  const text = changes.reduce((plan, [from, to]) => {
    expect(plan).toContain(from);
    return plan.replace(from, to);
  }, DEMO);
  return checkAgainstSite(loadSitePlan(text, "plan.yaml"), SEEN).contradictions;
}

test.each([
  ["the demo plan", site],
  ["the plan with VLANs", loadSitePlan(textOf("quillfen-vlans.yaml"), "vlans.yaml")],
  ["a campus", campus()],
])("checkAgainstSite: given %s as the site is, then nothing contradicts it, and all was checked", (_, plan) => {
  const { contradictions, hosts, links } = checkAgainstSite(plan, simulateObservations(plan));
  expect(contradictions.map(({ sentence }) => sentence)).toEqual([]);
  expect([hosts.checked, links.checked]).toEqual([
    hosts.of,
    links.of - plan.links.filter((l) => isUntold(plan, l)).length,
  ]);
});

/** What no device that can be asked is at. */
function isUntold(plan: typeof site, { a, b }: (typeof site.links)[number]): boolean {
  const kinds = [a, b].map(({ node }) => plan.nodes.get(node)?.kind);
  return kinds.every((kind) => kind === "host" || kind === "unmanaged");
}

test("checkAgainstSite: given two hosts exchanged in the plan, then both are named, and where they seem to be", () => {
  const found = check(
    ["pier-east:1 -- kiosk-1:eth0", "pier-east:1 -- board-1:eth0"],
    ["pier-west:1 -- board-1:eth0", "pier-west:1 -- kiosk-1:eth0"],
  );
  expect(found.map(({ kind, places }) => [kind, places[0]])).toEqual([
    ["elsewhere", "kiosk-1"],
    ["elsewhere", "board-1"],
  ]);
  expect(found[0]?.sentence).toContain("it seems to hang at pier-east:1");
});

test("checkAgainstSite: given two hosts behind silent switches exchanged, then the tables tell", () => {
  const silent = simulateObservations(site, new Set(["pier-east", "pier-west"]));
  const swapped = DEMO.replace("pier-east:1 -- kiosk-1:eth0", "pier-east:1 -- board-1:eth0").replace(
    "pier-west:1 -- board-1:eth0",
    "pier-west:1 -- kiosk-1:eth0",
  );
  const { contradictions } = checkAgainstSite(loadSitePlan(swapped, "plan.yaml"), silent);
  expect(contradictions.map(({ places }) => places[0])).toEqual(["kiosk-1", "board-1"]);
  expect(contradictions[0]?.sentence).toContain("core learned its address on 1");
});

test("checkAgainstSite: given a link that the plan has elsewhere, then the link is named, and no host behind it", () => {
  const found = check(["core:1, pier-east:24", "hall:1, pier-east:24"]);
  expect(found.map(({ kind }) => kind)).toEqual(["link", "link"]);
  expect(found.map(({ sentence }) => sentence).join("\n")).toMatch(/core:1 and pier-east:24 are linked/);
});

test.each([
  ["another port", ["core:3, hall:24", "core:7, hall:24"], "link", /core:7/],
  [
    "another speed",
    ["[core:1, pier-east:24], speed: 1 Gbit/s", "[core:1, pier-east:24], speed: 100 Mbit/s"],
    "speed",
    /100 Mbit\/s/,
  ],
] as const)("checkAgainstSite: given %s in the plan, then that is said", (_, change, kind, words) => {
  const found = check(change);
  expect([...new Set(found.map((one) => one.kind))]).toEqual([kind]);
  expect(found[0]?.sentence).toMatch(words);
});

test("checkAgainstSite: given ports that are down, blocked or at half duplex, then each is said with its effect", () => {
  const readings = SEEN.readings.map((reading) =>
    reading.node !== "core"
      ? reading
      : {
          ...reading,
          ports: (reading.ports ?? []).map((port, index) =>
            index === 0
              ? { ...port, up: false }
              : index === 1
                ? { ...port, spanningTree: "blocking" as const }
                : { ...port, duplex: "half" as const },
          ),
        },
  );
  const found = checkAgainstSite(site, { ...SEEN, readings }).contradictions;
  expect(found.map(({ kind }) => kind)).toEqual(["down", "blocked", "duplex", "duplex", "duplex"]);
});

test("checkAgainstSite: given nothing seen, then nothing contradicts and nothing counts as checked", () => {
  const { contradictions, hosts, links } = checkAgainstSite(site, { hosts: [], readings: [] });
  expect([contradictions, hosts.checked, links.checked]).toEqual([[], 0, 0]);
});

test("updatePlan: given a plan with two hosts exchanged, then their links are put right, and comments and order stay", () => {
  const swapped = DEMO.replace("pier-east:1 -- kiosk-1:eth0", "pier-east:1 -- board-1:eth0").replace(
    "pier-west:1 -- board-1:eth0",
    "pier-west:1 -- kiosk-1:eth0",
  );
  const updated = updatePlan(swapped, loadSitePlan(swapped, "plan.yaml"), drawSite(SEEN, "x"));
  expect(checkAgainstSite(loadSitePlan(updated, "updated.yaml"), SEEN).contradictions).toEqual([]);
  const kept = updated.split("\n").filter((line) => line.startsWith("#") && !line.startsWith("# ?"));
  expect(kept.join("\n")).toContain("An invented ferry terminal");
});
