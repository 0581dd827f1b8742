import type { FindingMark, MapSelection, RestsOn, SiteTree } from "@dyetrace/picture";
import { graphOf, hangUp, headOf, planScene } from "@dyetrace/picture";
import { planPlace } from "@dyetrace/site";
import type { PlanRests } from "@dyetrace/wire/console/plan-answer";
import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import { useMemo } from "preact/hooks";
import { SiteMap } from "../map/site-map.tsx";
import { useCarrying } from "./use-carrying.ts";

/** A question that is shown on the map, with the nodes that it is about. */
export interface ShownQuestion {
  readonly number: number;
  readonly about: readonly string[];
}

export interface PlanMapProps {
  readonly drawing: PlanDrawing;
  readonly rests: PlanRests;
  readonly isStale: boolean;
  readonly question: ShownQuestion | null;
  readonly selection: MapSelection | null;
  readonly onSelect: (selection: MapSelection | null) => void;
  /** One place was dragged to another: nodes as the plan names them, with the node that the first one hung at. */
  readonly onMove: (node: string, from: string | null, to: string) => void;
}

/** The map of a plan, without any water in it: what its links rest on, and places that can be dragged to others. */
export function PlanMap(props: PlanMapProps) {
  const { drawing, rests, isStale, question, selection, onSelect } = props;
  const graph = useMemo(() => graphOf(drawing), [drawing]);
  const tree = useMemo(() => {
    const head = headOf(graph, null);
    return head === null ? null : hangUp(graph, head);
  }, [graph]);
  const scene = useMemo(() => (tree === null ? null : planScene(tree)), [tree]);
  const lines = useMemo(
    () => (tree === null ? undefined : restsOfPlaces(tree, drawing, rests)),
    [tree, drawing, rests],
  );
  const marks = useMemo(
    () => (tree === null || question === null ? [] : questionMarks(tree, question)),
    [tree, question],
  );
  const { carried, onPointerDown } = useCarrying((node, to) => {
    const parent = tree?.byName.get(node)?.parent ?? null;
    if (tree?.byName.get(node)?.group === undefined) {
      props.onMove(planPlace(node), parent === null ? null : planPlace(parent), planPlace(to));
    }
  });
  if (tree === null || scene === null) return null;
  // Chosen from a list, a node has a name and no place yet: of a switch in several VLANs the first one.
  const place =
    selection === null || tree.byName.has(selection.node) ? null : (tree.placesOf(selection.node)[0] ?? null);
  const chosen = selection === null || place === null ? selection : { ...selection, node: place };
  return (
    <div
      class={`plan-picture${isStale ? " is-stale" : ""}${carried === null ? "" : " is-carrying"}`}
      onPointerDown={onPointerDown}
    >
      {isStale && <p class="small">The map is of the last plan without mistakes.</p>}
      <SiteMap
        name={`Map of ${graph.name}`}
        tree={tree}
        channels={scene.channels}
        hosts={scene.hosts}
        marks={marks}
        rateBps={() => null}
        isMoving={false}
        {...(lines === undefined ? {} : { rests: lines })}
        shown={question?.number ?? null}
        selection={chosen}
        onSelect={onSelect}
      />
      {carried !== null && (
        <div class="carried" style={{ left: `${carried.x}px`, top: `${carried.y}px` }}>
          {planPlace(carried.node)} {carried.over === null ? "to …" : `to ${planPlace(carried.over)}`}
        </div>
      )}
    </div>
  );
}

/** By the place at the lower end of each link; nothing where the plan is no drawing. */
function restsOfPlaces(
  tree: SiteTree,
  { links }: PlanDrawing,
  rests: PlanRests,
): ReadonlyMap<string, RestsOn> | undefined {
  const bySegment = new Map<string, RestsOn>(
    links.flatMap(({ index, a, b }) => {
      const by = rests.links[index]?.by;
      const [near, far] = [`${a.node}:${a.port}`, `${b.node}:${b.port}`];
      return by === undefined ? [] : [[`${near}>${far}`, by] as const, [`${far}>${near}`, by] as const];
    }),
  );
  if (bySegment.size === 0) return undefined;
  return new Map(
    [...tree.byName.values()].flatMap(({ node, segmentId }) => {
      const by = segmentId === null ? undefined : bySegment.get(planPlace(segmentId));
      return by === undefined ? [] : [[node.name, by] as const];
    }),
  );
}

function questionMarks(tree: SiteTree, { number, about }: ShownQuestion): readonly FindingMark[] {
  const places = about.flatMap((name) => tree.placesOf(name)).filter((name) => tree.byName.has(name));
  const [first] = places;
  if (first === undefined) return [];
  const suspects = places.map((node) => ({ node, on: "node" as const }));
  return [
    {
      index: number,
      glyph: "doubt",
      word: `question ${number}`,
      node: first,
      on: "node",
      drawnOn: [],
      carrying: [],
      suspects,
    },
  ];
}
