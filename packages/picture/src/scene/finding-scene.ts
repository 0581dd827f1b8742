import type { SiteGraph } from "@dyetrace/site";
import { knownRateBps, type RunReport } from "@dyetrace/wire";
import { hangUp, type SiteTree } from "../layout/site-tree.ts";
import { type FindingMark, findingMarks } from "../water/finding-marks.ts";
import { headOf, reportScene, type SiteScene, wayEvidence } from "./site-scene.ts";

/** What is drawn of a run: the site hung up by a stream's source, with its water and the marks of its findings. */
export interface RunScene {
  readonly tree: SiteTree;
  readonly scene: SiteScene;
  readonly marks: readonly FindingMark[];
  readonly rateBps: number | null;
  readonly stream: string;
}

/**
 * Pure.
 * @param index a finding by its position in the report's list: it alone is marked, on the first of its streams; null: all
 *   findings, on the first stream that any of them is about
 * @returns null where there is nothing to draw
 */
export function runScene(graph: SiteGraph, report: RunReport, index: number | null): RunScene | null {
  const finding = index === null ? undefined : report.findings[index];
  const accused = finding?.streams[0] ?? (index === null ? report.findings.flatMap(({ streams }) => streams)[0] : null);
  const stream = report.streams.find(({ name }) => name === accused) ?? report.streams[0];
  if (stream === undefined) return null;
  const head = headOf(graph, stream.source);
  const tree = head === null ? null : hangUp(graph, head, wayEvidence(graph, report, stream.name, finding));
  if (tree === null) return null;
  const scene = reportScene(graph, tree, report, stream.name);
  const all = findingMarks(report, new Set([stream.name]), tree, scene.channels);
  const marks = index === null ? all : all.filter((mark) => mark.index === index);
  return { tree, scene, marks, rateBps: knownRateBps(stream), stream: stream.name };
}
