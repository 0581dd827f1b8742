import type { SiteGraph } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { useMemo } from "preact/hooks";
import { findingMarks } from "../map/finding-marks.ts";
import { SiteMap } from "../map/site-map.tsx";
import { reportScene } from "../map/site-scene.ts";

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
  const scene = useMemo(() => (stream === null ? null : reportScene(graph, report, stream)), [graph, report, stream]);
  const marks = useMemo(
    () =>
      scene === null || stream === null
        ? []
        : findingMarks(report, new Set([stream]), scene.tree).filter((mark) => mark.index === index),
    [scene, report, stream, index],
  );
  if (scene === null || marks.length === 0) return null;
  const rateBps = report.streams.find(({ name }) => name === stream)?.rateBps ?? null;
  return (
    <SiteMap
      name={`Where: ${finding?.title ?? ""}`}
      tree={scene.tree}
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
