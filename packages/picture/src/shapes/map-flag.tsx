import { textWidth } from "../layout/text-width.ts";
import { FLAG_HEIGHT, type PlacedFlag } from "./place-flags.ts";
import type { MapSelection } from "./site-map-props.ts";

/** A flag that stays readable at every zoom. */
export function MapFlag({
  flag,
  scale,
  onSelect,
}: {
  readonly flag: PlacedFlag;
  readonly scale: number;
  readonly onSelect: (selection: MapSelection) => void;
}) {
  const { mark, box } = flag;
  return (
    // biome-ignore lint/a11y/noStaticElementInteractions: said beside the map, and the place itself is a button
    <g
      class="flag"
      transform={`translate(${box.x} ${box.y}) scale(${1 / Math.min(1, scale)})`}
      onClick={() => onSelect({ node: mark.node, on: mark.on })}
    >
      <rect width={flagWidth(mark.word)} height={FLAG_HEIGHT} rx={2} />
      <text x={10} y={15.5}>
        {mark.word}
      </text>
    </g>
  );
}

export const flagWidth = (word: string): number => textWidth(word) * 1.12 + 20;
