import { planPlace, vlanOfPlace } from "@dyetrace/site";
import { groupLabel } from "../layout/delta-block.ts";
import type { NodePlace } from "../layout/delta-place.ts";
import { shapeAt } from "../layout/geometry.ts";
import type { PlaceLabel } from "../layout/shown-names.ts";
import type { TreeNode } from "../layout/site-tree.ts";
import { textWidth } from "../layout/text-width.ts";
import type { ChannelWater } from "../water/channel-water.ts";
import type { HostWater } from "../water/host-water.ts";
import { sayLoss } from "../water/say-water.ts";
import { SEVERAL } from "./host-cup.tsx";
import { NodeShape } from "./node-shape.tsx";

export interface PlaceShapeProps {
  readonly place: NodePlace;
  readonly node: TreeNode;
  readonly water: ChannelWater;
  readonly host: HostWater | null;
  /** What stands below its name; null: what its host lost, if it lost any. */
  readonly reading: string | null;
  /** How much larger its name is written than in the layout, so that it keeps its size on the screen. */
  readonly nameGrowth?: number;
  /** Its name finds room at this zoom; it does if nothing is said. */
  readonly isNamed?: boolean;
}

/** What is written first beside a place: its name, or how many hosts stand there. */
export const placeName = ({ name }: NodePlace, { group }: TreeNode): string =>
  group === undefined ? planPlace(name) : groupLabel(group.hosts.length);

/** What is written behind its name. */
const vlanWords = ({ name }: NodePlace): string => {
  const vlan = vlanOfPlace(name);
  return vlan === null ? "" : ` vlan ${vlan}`;
};
const foldedWords = ({ foldedNodes }: NodePlace): string => (foldedNodes > 0 ? ` +${foldedNodes}` : "");

/** What is written below its name; null: nothing. */
export const placeReading = ({ node, host, reading }: Pick<PlaceShapeProps, "node" | "host" | "reading">) =>
  reading ?? node.group?.words ?? (host?.kind === "thins" ? sayLoss(host) : null);

/** The letters of a reading are smaller than a name's. */
const READING_SIZE = 0.9;

/** How much room takes what is written beside a place. */
export function placeLabel(place: NodePlace, of: Pick<PlaceShapeProps, "node" | "host" | "reading">): PlaceLabel {
  const name = textWidth(`${placeName(place, of.node)}${vlanWords(place)}${foldedWords(place)}`);
  const reading = placeReading(of);
  return reading === null
    ? { width: name, lines: 1 }
    : { width: Math.max(name, textWidth(reading) * READING_SIZE), lines: 2 };
}

/** One node: its shape, its name, and what its hosts got. */
export function PlaceShape(props: PlaceShapeProps) {
  const { place, node, water, host, isNamed = true } = props;
  const sign = place.label === "left" ? -1 : 1;
  const inVlan = vlanWords(place);
  const folded = foldedWords(place);
  const below = placeReading(props);
  const grow = props.nameGrowth ?? 1;
  const nameX = place.x + sign * 19 * grow;
  return (
    <>
      {node.group !== undefined && <path class="several" d={shapeAt(place, SEVERAL)} />}
      <NodeShape node={node.node} water={water} host={host} x={place.x} y={place.y} />
      {isNamed && (
        <text x={nameX} y={place.y + 4.5 * grow} text-anchor={sign < 0 ? "end" : "start"} style={grown(grow)}>
          {placeName(place, node)}
          {inVlan !== "" && <tspan class="in-vlan">{inVlan}</tspan>}
          {folded !== "" && <tspan class="reading">{folded}</tspan>}
          {/* The space parts the two for whoever reads the text and not the picture. */}
          {below !== null && " "}
          {below !== null && (
            <tspan class="reading" x={nameX} dy={15 * grow}>
              {below}
            </tspan>
          )}
        </text>
      )}
    </>
  );
}

/** On the name itself and not on the map: a browser works out anew the style of everything below what it stands on. */
const grown = (grow: number): Record<string, string> | undefined =>
  grow === 1 ? undefined : { "--name-growth": String(grow) };
