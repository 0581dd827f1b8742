import { readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { drawSite } from "../draw/draw-site.ts";
import { simulateObservations } from "../draw/simulate-observations.ts";
import { updatePlan } from "../draw/update-plan.ts";
import { loadSitePlan } from "../plan/load-site-plan.ts";
import { checkAgainstSite } from "./check-against-site.ts";

const DEMO = readFileSync(new URL("../../../practice/demo/quillfen.yaml", import.meta.url), "utf8");
const site = loadSitePlan(DEMO, "quillfen.yaml");
const SEEN = simulateObservations(site);
const update = (text: string): string => updatePlan(text, loadSitePlan(text, "plan.yaml"), drawSite(SEEN, "x"));
/** The demo plan as it was before these nodes came: without their lines and those of their links. */
const before = (...nodes: readonly string[]): string =>
  DEMO.split("\n")
    .filter((line) => line.startsWith("#") || !nodes.some((node) => new RegExp(`\\b${node}\\b[: ]`).test(line)))
    .join("\n");

test("given a plan from before a switch and two hosts came, then they are added with their links, and the plan is the site's", () => {
  const old = before("pier-west", "board-1", "board-2", "lounge");
  expect(loadSitePlan(old, "old.yaml").nodes.has("pier-west")).toBe(false);
  const updated = update(old);
  const graph = loadSitePlan(updated, "updated.yaml");
  expect([...graph.nodes.keys()].sort()).toEqual([...site.nodes.keys()].sort());
  expect(graph.nodes.get("pier-west")?.kind).toBe("switch");
  expect(checkAgainstSite(graph, SEEN).contradictions).toEqual([]);
  // Each addition says on what it rests.
  const added = updated.split("\n").filter((line) => /pier-west|board-[12]|lounge/.test(line) && !line.startsWith("#"));
  expect(added.every((line) => /# (seen|concluded): /.test(line))).toBe(true);
});

test("given additions, then every line that was there stays as it was, in its order", () => {
  const old = before("kiosk-2");
  const lines = update(old).split("\n");
  let at = -1;
  for (const line of old.split("\n").filter((one) => one !== "")) {
    at = lines.indexOf(line, at + 1);
    expect(at, line).toBeGreaterThanOrEqual(0);
  }
});

test("given a plan that has all of it, then nothing is added", () => {
  const lines = update(DEMO).split("\n");
  const isOld = new Set(DEMO.split("\n"));
  expect(lines.filter((line) => !isOld.has(line) && !line.startsWith("# "))).toEqual([]);
});

test("given a list that stands on one line, then what is new becomes a comment, and the plan still loads", () => {
  const old = before("kiosk-2");
  const links = old.split("\n").filter((line) => line.startsWith("  - "));
  const flow = `links: [${links.map((line) => line.slice(4)).join(", ")}]`;
  const text = `${old.slice(0, old.indexOf("links:"))}${flow}\n`;
  const updated = update(text);
  expect(loadSitePlan(updated, "updated.yaml").nodes.size).toBeGreaterThanOrEqual(site.nodes.size - 1);
  expect(updated).toMatch(/# new in links: - .*kiosk-2:eth0/);
});

test("given a port that the plan has taken otherwise, then the plan's line stays, and the comment names both", () => {
  // A device that is not there any more, at the port where the site has pier-west.
  const old = before("pier-west", "board-1", "board-2")
    .replace("links:\n", "links:\n  - core:2 -- old-pier:24\n")
    .replace("  hall: {", "  old-pier: { kind: switch }\n  hall: {");
  const updated = update(old);
  expect(updated).toContain("  - core:2 -- old-pier:24\n");
  expect(updated).toMatch(/# \? (core:2 -- pier-west:24|pier-west:24 -- core:2): .*the plan has old-pier:24 at core:2/);
  expect(() => loadSitePlan(updated, "updated.yaml")).not.toThrow();
});
