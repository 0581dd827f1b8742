import type { SiteTree, TreeNode } from "../layout/site-tree.ts";
import { describeHostWater } from "../water/say-water.ts";
import { PlaceShape, type PlaceShapeProps, placeName } from "./place-shape.tsx";
import type { MapSelection } from "./site-map-props.ts";

export interface MapPlaceProps extends PlaceShapeProps {
  /** Its shape is drawn with many others as one: here are only what is pressed and what is read out. */
  readonly isDrawnElsewhere: boolean;
  readonly isSelected: boolean;
  /** The one place that Tab comes to; arrow keys lead on from there. */
  readonly isTabStop: boolean;
  readonly tree: SiteTree;
  readonly onSelect: (selection: MapSelection) => void;
  readonly onFold: () => void;
}

const RING = 21;
/** Not so wide that it lies upon its neighbours. */
const REACH = 14;

/** One node: its shape, its name and what its host got; a button to the mouse and to the keyboard alike. */
export function MapPlace(props: MapPlaceProps) {
  const { place, node, tree } = props;
  const { group } = node;
  const canUnfold = node.children.length > 0 || group !== undefined;
  // Several hosts are no place that anything is told of: pressed, they come apart.
  const choose = (): void => (group === undefined ? props.onSelect({ node: place.name, on: "node" }) : props.onFold());
  return (
    // biome-ignore lint/a11y/useSemanticElements: there is no button inside a drawing
    <g
      class={`node${props.isSelected ? " selected" : ""}${props.isNamed === false ? " nameless" : ""}`}
      role="button"
      tabindex={props.isTabStop ? 0 : -1}
      aria-label={sayPlace(props)}
      aria-pressed={props.isSelected}
      data-node={place.name}
      onClick={choose}
      onDblClick={() => group === undefined && canUnfold && props.onFold()}
      onKeyDown={(event) => {
        if (event.key === "Enter" || event.key === " ") {
          event.preventDefault();
          choose();
        } else if (event.key === "f" && canUnfold) props.onFold();
        else if (event.key === "s" && node.segmentId !== null) props.onSelect({ node: place.name, on: "channel" });
        else {
          const next = neighbour(event.key, node, tree);
          if (next === null) return;
          const there = event.currentTarget.ownerSVGElement?.querySelector<SVGGElement>(`[data-node="${next}"]`);
          if (there === null || there === undefined) return; // folded up
          event.preventDefault();
          if (tree.byName.get(next)?.group === undefined) props.onSelect({ node: next, on: "node" });
          there.focus();
        }
      }}
    >
      <circle class="focus" cx={place.x} cy={place.y} r={props.isDrawnElsewhere ? REACH : RING} />
      {!props.isDrawnElsewhere && <PlaceShape {...props} />}
    </g>
  );
}

/** Begins with what is written beside the place, so that whoever reads it out and whoever speaks to it find each other. */
function sayPlace({ place, node, host, reading }: MapPlaceProps): string {
  const { group } = node;
  const folded = place.foldedNodes > 0 ? ` +${place.foldedNodes}` : "";
  if (group !== undefined) {
    const some = group.hosts.slice(0, 3).join(", ");
    const more = group.hosts.length > 3 ? ` and ${group.hosts.length - 3} more` : "";
    return `${placeName(place, node)} ${group.words}, on ${node.parent ?? ""}: ${some}${more}`;
  }
  const water = host === null ? "" : describeHostWater(host);
  const isReadFirst = host?.kind === "thins";
  const written = `${place.name}${folded}`;
  return [
    isReadFirst ? `${written} ${water}` : reading === null ? written : `${written} ${reading}`,
    ...(water === "" || isReadFirst ? [] : [water]),
    node.node.kind,
    ...(place.foldedNodes > 0 ? [`${place.foldedNodes} nodes folded up`] : []),
  ].join(", ");
}

/** Arrow keys walk the tree: down to the first child, up to the parent, sideways among siblings. */
function neighbour(key: string, node: TreeNode, tree: SiteTree): string | null {
  const siblings = node.parent === null ? [tree.root, ...tree.apart] : (tree.byName.get(node.parent)?.children ?? []);
  const at = siblings.findIndex((one) => one.node.name === node.node.name);
  const wanted =
    key === "ArrowDown"
      ? node.children[0]?.node.name
      : key === "ArrowUp"
        ? node.parent
        : key === "ArrowRight"
          ? siblings[at + 1]?.node.name
          : key === "ArrowLeft"
            ? siblings[at - 1]?.node.name
            : null;
  return wanted ?? null;
}
