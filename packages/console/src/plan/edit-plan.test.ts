import { loadSitePlan } from "@dyetrace/site";
import { expect, test } from "vitest";
import { editPlan, type PlanEdit } from "./edit-plan.ts";

const PLAN = `# What hangs where.
site: My site
vlans:
  10: { querier: core }
nodes:
  core:    { kind: switch }
  floor-1: { kind: switch } # in the cellar
  player:  { kind: host }
  screen:  { kind: host }
links:
  - core:9 -- player:eth0
  - { between: [core:1, floor-1:24], speed: 1 Gbit/s }
  - floor-1:1 -- screen:eth0
`;
const NO_VLANS = PLAN.replace(/vlans:\n.*\n/, "");

/** Links as `a -- b`, and nodes, of the plan after the edit, which has to be one. */
function after(text: string, edit: PlanEdit) {
  const edited = editPlan(text, edit);
  if ("says" in edited) throw new Error(edited.says);
  const graph = loadSitePlan(edited.text, "plan.yaml");
  return {
    text: edited.text,
    nodes: [...graph.nodes.values()],
    links: graph.links.map(({ a, b }) => `${a.node}:${a.port} -- ${b.node}:${b.port}`),
  };
}

test("editPlan: given a host is renamed, then its links follow, its agent keeps its name, and comments stay", () => {
  const { nodes, links, text } = after(NO_VLANS, { kind: "rename", node: "screen", to: "hall-screen" });
  expect(nodes.find(({ name }) => name === "hall-screen")?.agent).toBe("screen");
  expect(links).toContain("floor-1:1 -- hall-screen:eth0");
  expect(text).toContain("# in the cellar");
  expect(text.startsWith("# What hangs where.")).toBe(true);
});

test("editPlan: given the querier of a VLAN is renamed, then the VLAN names it anew", () => {
  const edited = editPlan(PLAN, { kind: "rename", node: "core", to: "main" });
  expect("text" in edited && edited.text).toContain("querier: main");
});

test("editPlan: given a host is moved, then it hangs at a free port of the other switch", () => {
  const { links } = after(NO_VLANS, { kind: "move", node: "player", to: "floor-1" });
  expect(links).toContain("floor-1:2 -- player:eth0");
  expect(links).toHaveLength(3);
});

test("editPlan: given two switches are joined, then what hung at the second hangs at the first, and their link is gone", () => {
  const { links, nodes } = after(NO_VLANS, { kind: "join", node: "core", other: "floor-1" });
  expect(nodes.map(({ name }) => name)).toEqual(["core", "player", "screen"]);
  expect(links).toEqual(["core:9 -- player:eth0", "core:1 -- screen:eth0"]);
});

test("editPlan: given a switch is split, then a new one stands between it and what was chosen", () => {
  const { links } = after(NO_VLANS, { kind: "split", node: "core", name: "core-2", neighbours: ["player"] });
  expect(links).toContain("core-2:1 -- player:eth0");
  expect(links.some((link) => /^core:\d+ -- core-2:2$/.test(link))).toBe(true);
});

test("editPlan: given nodes are added and removed, then the plan has them, or not", () => {
  const added = after(NO_VLANS, { kind: "add", at: "floor-1", name: "tv", nodeKind: "host" });
  expect(added.links).toContain("floor-1:2 -- tv:eth0");
  const removed = after(NO_VLANS, { kind: "remove", node: "screen" });
  expect(removed.nodes.map(({ name }) => name)).toEqual(["core", "floor-1", "player"]);
});

test.each<readonly [PlanEdit, string]>([
  [{ kind: "rename", node: "core", to: "player" }, "There is a node player already."],
  [{ kind: "move", node: "core", to: "screen" }, "core has not one link"],
  [{ kind: "move", node: "player", to: "core" }, "hangs at core already"],
  [{ kind: "split", node: "core", name: "x", neighbours: [] }, "Choose what hangs"],
  [{ kind: "add", at: "core", name: "screen", nodeKind: "host" }, "There is a node screen already."],
])("editPlan: given %j, then it says what speaks against it", (edit, says) => {
  const edited = editPlan(NO_VLANS, edit);
  expect("says" in edited && edited.says).toContain(says);
});
