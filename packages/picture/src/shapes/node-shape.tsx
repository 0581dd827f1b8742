import type { SiteNode } from "@dyetrace/site";
import { shapeAt } from "../layout/geometry.ts";
import type { ChannelWater } from "../water/channel-water.ts";
import type { HostWater } from "../water/host-water.ts";
import { HostCup } from "./host-cup.tsx";

/** What stands at a place: a cup at a host, a basin at a switch, by shape so that no colour is needed. */
export function NodeShape(props: {
  readonly node: SiteNode;
  readonly water: ChannelWater;
  readonly host: HostWater | null;
  readonly x: number;
  readonly y: number;
}) {
  const { node, water, host, x, y } = props;
  const at = (steps: string): string => shapeAt(props, steps);
  if (node.kind === "host") {
    const isSource = host?.kind === "source" || host?.kind === "silent-source";
    return isSource ? <path class={`body ${water}`} d={at(SPRING)} /> : <HostCup host={host} x={x} y={y} />;
  }
  const body = `body ${water}`;
  switch (node.kind) {
    case "switch":
      return <rect class={body} x={x - 14} y={y - 9} width={28} height={18} rx={5} />;
    case "router":
      return <path class={body} d={at("m0 -14l14 14l-14 14l-14 -14z")} />;
    case "unmanaged":
      return <circle class={body} cx={x} cy={y} r={11.5} />;
    case "access-point":
      return (
        <>
          <path class={body} d={at("m-13 7a13 13 0 0 1 26 0z")} />
          <path class="aerial" d={at("m-8 -11a12 12 0 0 1 16 0")} />
        </>
      );
  }
}

/** The source: a drop, full while its water runs. */
const SPRING = "m0 -18c6 8.5 12 13 12 20.5a12 12 0 0 1 -24 0c0 -7.5 6 -12 12 -20.5z";
