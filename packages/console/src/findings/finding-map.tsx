import type { SiteGraph } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { useMemo } from "preact/hooks";
import { findingMarks } from "../map/finding-marks.ts";
import { hangUp } from "../map/layout/site-tree.ts";
import { SiteMap } from "../map/site-map.tsx";
import { headOf, reportScene } from "../map/site-scene.ts";

interface FindingMapProps {
  readonly graph: SiteGraph;
  readonly report: RunReport;
  /** Position in the report's list of findings. */
  readonly index: number;
}

/** The way from the source to the suspects, everything else folded up. */
export function FindingMap({ graph, report, index }: FindingMapProps) {
  const finding = report.findings[index];
  const stream = finding?.streams[0] ?? report.streams[0]?.name ?? null;
  const source = report.streams.find(({ name }) => name === stream)?.source ?? null;
  const tree = useMemo(() => {
    const head = headOf(graph, source);
    return head === null ? null : hangUp(graph, head);
  }, [graph, source]);
  const scene = useMemo(
    () => (stream === null || tree === null ? null : reportScene(graph, tree, report, stream)),
    [graph, tree, report, stream],
  );
  const marks = useMemo(
    () =>
      tree === null || stream === null
        ? []
        : findingMarks(report, new Set([stream]), tree).filter((mark) => mark.index === index),
    [tree, report, stream, index],
  );
  if (tree === null || scene === null || marks.length === 0) return null;
  const rateBps = report.streams.find(({ name }) => name === stream)?.rateBps ?? null;
  return (
    <SiteMap
      name={`Where: ${finding?.title ?? ""}`}
      tree={tree}
      channels={scene.channels}
      hosts={scene.hosts}
      marks={marks}
      rateBps={() => rateBps}
      isMoving={false}
      isExcerpt={true}
      selection={null}
      onSelect={() => {}}
    />
  );
}
