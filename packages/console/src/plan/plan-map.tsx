import type { FindingMark, MapSelection } from "@dyetrace/picture";
import { graphOf, hangUp, headOf, planScene } from "@dyetrace/picture";
import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import { useMemo } from "preact/hooks";
import { SiteMap } from "../map/site-map.tsx";

const NO_MARKS: readonly FindingMark[] = [];

/** The map of a plan, without any water in it. */
export function PlanMap(props: {
  readonly drawing: PlanDrawing;
  readonly isStale: boolean;
  readonly selection: MapSelection | null;
  readonly onSelect: (selection: MapSelection | null) => void;
}) {
  const { drawing, isStale, selection, onSelect } = props;
  const graph = useMemo(() => graphOf(drawing), [drawing]);
  const tree = useMemo(() => {
    const head = headOf(graph, null);
    return head === null ? null : hangUp(graph, head);
  }, [graph]);
  const scene = useMemo(() => (tree === null ? null : planScene(tree)), [tree]);
  if (tree === null || scene === null) return null;
  return (
    <div class={isStale ? "is-stale" : undefined}>
      {isStale && <p class="small">The map is of the last plan without mistakes.</p>}
      <SiteMap
        name={`Map of ${graph.name}`}
        tree={tree}
        channels={scene.channels}
        hosts={scene.hosts}
        marks={NO_MARKS}
        rateBps={() => null}
        isMoving={false}
        selection={selection}
        onSelect={onSelect}
      />
    </div>
  );
}
