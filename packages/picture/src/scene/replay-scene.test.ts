import { buildSiteGraph } from "@dyetrace/site";
import { expect, test } from "vitest";
import { hangUp } from "../layout/site-tree.ts";
import { replayScene, worstMarks } from "./replay-scene.ts";
import { headOf } from "./site-scene.ts";

const host = (name: string) => ({ name, kind: "host", isQuerier: false, agent: name }) as const;
const names = ["tower", "kiosk", "till"];
const graph = buildSiteGraph(
  "site",
  [{ name: "core", kind: "switch", isQuerier: true, agent: null }, ...names.map(host)],
  names.map((name, index) => ({
    index,
    a: { node: "core", port: String(index) },
    b: { node: name, port: "eth0" },
    speedBps: null,
  })),
);
const replay = {
  startedAt: "2026-11-29T12:00:00.000Z",
  cellMs: 1000,
  cells: 4,
  strips: [
    { agent: "kiosk", stream: "board", marks: "ff-f" },
    { agent: "till", stream: "board", marks: "f3f " },
  ],
};

test("replayScene: given a second in which one listener got nothing, then its channel is dry then, and at no other time", () => {
  const tree = hangUp(graph, "tower");
  if (tree === null) throw new Error("no tree");
  const waterAt = (cell: number) => {
    const { channels } = replayScene(tree, replay, { name: "board", source: "tower" }, cell);
    return [channels.get("kiosk")?.water, channels.get("till")?.water];
  };
  expect([waterAt(0), waterAt(1), waterAt(2), waterAt(3)]).toEqual([
    ["flows", "flows"],
    ["flows", "thins"],
    ["dry", "flows"],
    ["flows", "unknown"],
  ]);
});

test("given a stream of a source without an agent, then the site hangs at its node, which sends while something comes, and is unknown while nothing does", () => {
  const hosts = names.map(host);
  const coded = buildSiteGraph(
    "site",
    [
      { name: "core", kind: "switch", isQuerier: true, agent: null },
      ...hosts.map((one) => ({ ...one, agent: one.name === "tower" ? null : one.name })),
    ],
    graph.links,
  );
  expect([headOf(coded, "tower"), headOf(coded, "192.0.2.9"), headOf(coded, null)]).toEqual(["tower", null, "core"]);
  const tree = hangUp(coded, "tower");
  if (tree === null) throw new Error("no tree");
  const sourceIn = (marks: string) => {
    const strips = [{ agent: "kiosk", stream: "board", marks }];
    return replayScene(tree, { ...replay, strips }, { name: "board", source: "tower" }, 0).hosts.get("tower");
  };
  expect([sourceIn("f"), sourceIn("-")]).toEqual([{ kind: "source" }, { kind: "unknown" }]);
});

test("worstMarks: given two listeners, then each piece has the worst of both", () => {
  expect(worstMarks(replay, "board")).toBe("f3-f");
  expect(worstMarks(replay, "other")).toBe("    ");
  const strips = [
    { agent: "kiosk", stream: "board", marks: "..f." },
    { agent: "till", stream: "board", marks: ".ofn" },
  ];
  expect(worstMarks({ ...replay, strips }, "board")).toBe("..f.");
});
