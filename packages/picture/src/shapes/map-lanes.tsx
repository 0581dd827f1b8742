import { useMemo } from "preact/hooks";
import type { DeltaLayout } from "../layout/delta-place.ts";
import { lanesOf } from "../layout/lanes.ts";
import type { SiteTree } from "../layout/site-tree.ts";
import { textWidth } from "../layout/text-width.ts";

/** The ground of each VLAN, with its number and name: nothing of it moves on to another but through a router. */
export function MapLanes({ tree, layout }: { readonly tree: SiteTree; readonly layout: DeltaLayout }) {
  const lanes = useMemo(() => lanesOf(tree, layout, textWidth), [tree, layout]);
  return (
    <>
      {lanes.map(({ vlan, x, y, width, height, depth }) => (
        <g key={`${vlan} ${x} ${y}`} class={`lane${depth % 2 === 1 ? " inner" : ""}`} data-vlan={vlan}>
          <rect x={x} y={y} width={width} height={height} rx={6} />
          <text x={x + 8} y={y + 15}>
            VLAN {vlan}
            {tree.vlanNames.get(vlan) !== undefined && <tspan class="name"> {tree.vlanNames.get(vlan)}</tspan>}
          </text>
        </g>
      ))}
    </>
  );
}
