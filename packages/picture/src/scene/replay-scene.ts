import type { RunReplay } from "@dyetrace/wire/console/run-replay";
import type { SiteTree } from "../layout/site-tree.ts";
import type { HostWater } from "../water/host-water.ts";
import { waterOfMark } from "../water/mark-water.ts";
import { type SiteScene, sceneOf } from "./site-scene.ts";

/** What was measured of a stream in one piece of a run's time. Pure. @param cell counted from 0 */
export function replayScene(
  tree: SiteTree,
  replay: RunReplay,
  stream: { readonly name: string; readonly source: string },
  cell: number,
): SiteScene {
  const marks = new Map(replay.strips.filter((one) => one.stream === stream.name).map((one) => [one.agent, one.marks]));
  const waterOf = (agent: string): HostWater | null => {
    if (agent === stream.source) return { kind: "source" };
    const own = marks.get(agent);
    return own === undefined ? null : waterOfMark(own[cell] ?? " ", true, null);
  };
  return sceneOf(tree, waterOf, stream.source);
}

/** The worst first. */
const WORST = "-b4321s";

/**
 * The worst mark of a stream in each piece, over all its listeners: what a slider's track shows; `f` where it came and
 * nothing was wrong, `.` where nothing was due to anybody, a blank where nobody told anything, or nobody can tell what was lost.
 */
export function worstMarks(replay: RunReplay, stream: string): string {
  const own = replay.strips.filter((one) => one.stream === stream).map(({ marks }) => marks);
  return Array.from({ length: replay.cells }, (_, cell) => {
    const seen = new Set(own.map((marks) => marks[cell] ?? " "));
    const worst = [...WORST].find((mark) => seen.has(mark));
    if (worst !== undefined || seen.has("f")) return worst ?? "f";
    return [...seen].some((mark) => mark !== " " && mark !== "n") ? "." : " ";
  }).join("");
}
