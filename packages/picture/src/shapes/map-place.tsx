import { planPlace, vlanOfPlace } from "@dyetrace/site";
import type { NodePlace } from "../layout/delta-place.ts";
import type { SiteTree, TreeNode } from "../layout/site-tree.ts";
import type { ChannelWater } from "../water/channel-water.ts";
import type { HostWater } from "../water/host-water.ts";
import { describeHostWater, sayLoss } from "../water/say-water.ts";
import { NodeShape } from "./node-shape.tsx";
import type { MapSelection } from "./site-map-props.ts";

export interface MapPlaceProps {
  readonly place: NodePlace;
  readonly node: TreeNode;
  readonly water: ChannelWater;
  readonly host: HostWater | null;
  readonly isNamedAlways: boolean;
  readonly isSelected: boolean;
  /** The one place that Tab comes to; arrow keys lead on from there. */
  readonly isTabStop: boolean;
  readonly tree: SiteTree;
  readonly onSelect: (selection: MapSelection) => void;
  readonly onFold: () => void;
}

/** One node: its shape, its name and what its host got; a button to the mouse and to the keyboard alike. */
export function MapPlace(props: MapPlaceProps) {
  const { place, node, water, host, tree } = props;
  const sign = place.label === "left" ? -1 : 1;
  const vlan = vlanOfPlace(place.name);
  const reading = host === null ? "" : describeHostWater(host);
  // Begins with what is written beside the place, so that whoever reads it out and whoever speaks to it find each other.
  const written = `${place.name}${place.foldedNodes > 0 ? ` +${place.foldedNodes}` : ""}`;
  const says = [
    host?.kind === "thins" ? `${written} ${reading}` : written,
    ...(reading === "" || host?.kind === "thins" ? [] : [reading]),
    node.node.kind,
    ...(place.foldedNodes > 0 ? [`${place.foldedNodes} nodes folded up`] : []),
  ].join(", ");
  return (
    // biome-ignore lint/a11y/useSemanticElements: there is no button inside a drawing
    <g
      class={`node${props.isSelected ? " selected" : ""}${props.isNamedAlways ? " keeps-name" : ""}`}
      transform={`translate(${place.x} ${place.y})`}
      role="button"
      tabindex={props.isTabStop ? 0 : -1}
      aria-label={says}
      aria-pressed={props.isSelected}
      data-node={place.name}
      onClick={() => props.onSelect({ node: place.name, on: "node" })}
      onDblClick={() => node.children.length > 0 && props.onFold()}
      onKeyDown={(event) => {
        if (event.key === "Enter" || event.key === " ") {
          event.preventDefault();
          props.onSelect({ node: place.name, on: "node" });
        } else if (event.key === "f" && node.children.length > 0) props.onFold();
        else if (event.key === "s" && node.segmentId !== null) props.onSelect({ node: place.name, on: "channel" });
        else {
          const next = neighbour(event.key, node, tree);
          if (next === null) return;
          const there = event.currentTarget.ownerSVGElement?.querySelector<SVGGElement>(`[data-node="${next}"]`);
          if (there === null || there === undefined) return; // folded up
          event.preventDefault();
          props.onSelect({ node: next, on: "node" });
          there.focus();
        }
      }}
    >
      <circle class="focus" r={21} />
      <NodeShape node={node.node} water={water} host={host} />
      <text x={sign * 19} y={4.5} text-anchor={sign < 0 ? "end" : "start"}>
        {planPlace(place.name)}
        {vlan !== null && <tspan class="in-vlan"> vlan {vlan}</tspan>}
        {place.foldedNodes > 0 && <tspan class="reading"> +{place.foldedNodes}</tspan>}
        {/* The space parts the two for whoever reads the text and not the picture. */}
        {host?.kind === "thins" && " "}
        {host?.kind === "thins" && (
          <tspan class="reading" x={sign * 19} dy={15}>
            {sayLoss(host)}
          </tspan>
        )}
      </text>
    </g>
  );
}

/** Arrow keys walk the tree: down to the first child, up to the parent, sideways among siblings. */
function neighbour(key: string, node: TreeNode, tree: SiteTree): string | null {
  const siblings = node.parent === null ? [tree.root, ...tree.apart] : (tree.byName.get(node.parent)?.children ?? []);
  const at = siblings.indexOf(node);
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
