import { changeScene, findingMarks, graphOf, hangUp, headOf, reportScene, wayEvidence } from "@dyetrace/picture";
import { SitePicture } from "@dyetrace/picture/shapes/site-picture";
import type { StoredRun } from "@dyetrace/wire/console/stored-run";
import { useMemo, useRef } from "preact/hooks";
import { useSize } from "./use-size.ts";

interface ChangeMapProps {
  readonly earlier: StoredRun;
  readonly later: StoredRun;
  /** The stream that is drawn, if both runs sent it. */
  readonly stream: string | null;
}

const HEIGHT = 560;

/** Two runs on one map, inked only where they differ. */
export function ChangeMap({ earlier, later, stream }: ChangeMapProps) {
  const frame = useRef<HTMLDivElement>(null);
  const width = useSize(frame)?.width ?? null;
  const drawn = useMemo(() => {
    const [before, after] = [earlier.report, later.report];
    if (before === null || after === null) return null;
    const shared = after.streams.filter(({ name }) => before.streams.some((one) => one.name === name));
    const about = shared.find(({ name }) => name === stream) ?? shared[0];
    const graph = graphOf(later.drawing);
    const head = about === undefined ? null : headOf(graph, about.source);
    if (about === undefined || head === null) return null;
    const tree = hangUp(graph, head, wayEvidence(graph, after, about.name));
    if (tree === null) return null;
    const now = reportScene(graph, tree, after, about.name);
    const change = changeScene(reportScene(graph, tree, before, about.name), now);
    const isOld = ({ index }: { readonly index: number }): boolean => {
      const finding = after.findings[index];
      const places = finding?.suspects.join(" ");
      return before.findings.some(({ kind, suspects }) => kind === finding?.kind && suspects.join(" ") === places);
    };
    const marks = findingMarks(after, new Set([about.name]), tree, now.channels).filter((mark) => !isOld(mark));
    return { tree, change, marks, about };
  }, [earlier, later, stream]);
  return (
    <section class="change-map" ref={frame} aria-label="Where the two runs differ">
      {drawn !== null && width !== null && (
        <>
          <h2>
            Where they differ <span class="water">{drawn.about.name}</span>
          </h2>
          <p class="small soft">
            {drawn.change.changes + drawn.marks.length === 0
              ? "On the map nothing differs."
              : "Inked as in the later run, only where the earlier one was otherwise. Empty channels are the same in both."}
          </p>
          <div class="finding-map">
            <SitePicture
              name={`Where the two runs differ: ${drawn.about.name}`}
              tree={drawn.tree}
              scene={drawn.change.scene}
              marks={drawn.marks}
              rateBps={drawn.about.rateBps}
              width={width}
              height={HEIGHT}
              isExcerpt={false}
              readings={drawn.change.readings}
              quietWords="no change"
            />
          </div>
        </>
      )}
    </section>
  );
}
