import type { RunScene } from "@dyetrace/picture";
import { SitePicture } from "@dyetrace/picture/shapes/site-picture";
import { useRef } from "preact/hooks";
import { useSize } from "../map/use-size.ts";

/** Pixels that a picture beside a finding is laid out for. */
const EXCERPT_HEIGHT = 352;

/** The way from the source to the suspects, everything else folded up. */
export function FindingMap({ drawn, title }: { readonly drawn: RunScene | null; readonly title: string }) {
  const frame = useRef<HTMLDivElement>(null);
  const width = useSize(frame)?.width ?? null;
  if (drawn === null || drawn.marks.length === 0) return null;
  return (
    <div class="finding-map" ref={frame}>
      {width !== null && (
        <SitePicture
          name={`Where: ${title}`}
          tree={drawn.tree}
          scene={drawn.scene}
          marks={drawn.marks}
          rateBps={drawn.rateBps}
          width={width}
          height={EXCERPT_HEIGHT}
          isExcerpt={true}
        />
      )}
    </div>
  );
}
