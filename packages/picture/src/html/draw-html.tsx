import type { SiteGraph } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { runScene } from "../scene/finding-scene.ts";
import { MapKey } from "../shapes/map-key.tsx";
import { MapPatterns } from "../shapes/map-patterns.tsx";
import { SitePicture } from "../shapes/site-picture.tsx";
import { Exhibit } from "./exhibit.tsx";
import type { ExhibitProps } from "./exhibit-props.ts";

/**
 * Makes text of a picture: preact-render-to-string's, which whoever draws hands in. This file's types name nothing of a
 * browser, so that programs without one can use it.
 */
export type RenderToString = (picture: unknown) => string;

/** The whole site of a run with its findings, and the key to it. @returns HTML; empty where there is nothing to draw */
export function drawRunMap(graph: SiteGraph, report: RunReport, render: RenderToString): string {
  const drawn = runScene(graph, report, null);
  if (drawn === null) return "";
  return render(
    <>
      <MapPatterns />
      <SitePicture
        name={`Map of ${report.site}: ${drawn.stream}`}
        tree={drawn.tree}
        scene={drawn.scene}
        marks={drawn.marks}
        rateBps={drawn.rateBps}
        width={1000}
        height={640}
        isExcerpt={false}
      />
      <MapKey />
    </>,
  );
}

/** @returns SVG, or null where the report has no such finding */
export function drawExhibit(props: ExhibitProps, render: RenderToString): string | null {
  return props.report.findings[props.index] === undefined ? null : render(<Exhibit {...props} />);
}
