import { findingMarks, hangUp, headOf, reportScene, type SiteTree, wayEvidence } from "@dyetrace/picture";
import { SitePicture } from "@dyetrace/picture/shapes/site-picture";
import type { SiteGraph } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { useMemo, useRef } from "preact/hooks";
import { useSize } from "../map/use-size.ts";

interface FindingMapProps {
  readonly graph: SiteGraph;
  readonly report: RunReport;
  /** Position in the report's list of findings. */
  readonly index: number;
  readonly tree: SiteTree | null;
}

/** The site hung up for a finding: by the source of the first of its streams. */
export function useFindingTree(graph: SiteGraph, report: RunReport, index: number): SiteTree | null {
  const finding = report.findings[index];
  const stream = finding?.streams[0] ?? report.streams[0]?.name ?? null;
  const source = report.streams.find(({ name }) => name === stream)?.source ?? null;
  return useMemo(() => {
    const head = headOf(graph, source);
    const evidence = stream === null ? undefined : wayEvidence(graph, report, stream, finding);
    return head === null ? null : hangUp(graph, head, evidence);
  }, [graph, source, stream, report, finding]);
}

/** Pixels that a picture beside a finding is laid out for. */
const EXCERPT_HEIGHT = 352;

/** The way from the source to the suspects, everything else folded up. */
export function FindingMap({ graph, report, index, tree }: FindingMapProps) {
  const frame = useRef<HTMLDivElement>(null);
  const finding = report.findings[index];
  const stream = finding?.streams[0] ?? report.streams[0]?.name ?? null;
  const scene = useMemo(
    () => (stream === null || tree === null ? null : reportScene(graph, tree, report, stream)),
    [graph, tree, report, stream],
  );
  const marks = useMemo(
    () =>
      tree === null || stream === null || scene === null
        ? []
        : findingMarks(report, new Set([stream]), tree, scene.channels).filter((mark) => mark.index === index),
    [tree, scene, report, stream, index],
  );
  const width = useSize(frame)?.width ?? null;
  if (tree === null || scene === null || marks.length === 0) return null;
  const rateBps = report.streams.find(({ name }) => name === stream)?.rateBps ?? null;
  return (
    <div class="finding-map" ref={frame}>
      {width !== null && (
        <SitePicture
          name={`Where: ${finding?.title ?? ""}`}
          tree={tree}
          scene={scene}
          marks={marks}
          rateBps={rateBps}
          width={width}
          height={EXCERPT_HEIGHT}
          isExcerpt={true}
        />
      )}
    </div>
  );
}
