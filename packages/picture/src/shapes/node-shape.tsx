import type { SiteNode } from "@dyetrace/site";
import type { ChannelWater } from "../water/channel-water.ts";
import type { HostWater } from "../water/host-water.ts";
import { HostCup } from "./host-cup.tsx";

/** What stands at a place: a cup at a host, a basin at a switch, by shape so that no colour is needed. */
export function NodeShape(props: {
  readonly node: SiteNode;
  readonly water: ChannelWater;
  readonly host: HostWater | null;
}) {
  const { node, water, host } = props;
  if (node.kind === "host") {
    const isSource = host?.kind === "source" || host?.kind === "silent-source";
    return isSource ? <Spring water={water} /> : <HostCup host={host} />;
  }
  const body = `body ${water}`;
  switch (node.kind) {
    case "switch":
      return <rect class={body} x={-14} y={-9} width={28} height={18} rx={5} />;
    case "router":
      return <path class={body} d="M0 -14L14 0L0 14L-14 0Z" />;
    case "unmanaged":
      return <circle class={body} r={11.5} />;
    case "access-point":
      return (
        <>
          <path class={body} d="M-13 7A13 13 0 0 1 13 7Z" />
          <path class="aerial" d="M-8 -11A12 12 0 0 1 8 -11" />
        </>
      );
  }
}

/** The source: a drop, full while its water runs. */
function Spring({ water }: { readonly water: ChannelWater }) {
  return <path class={`body ${water}`} d="M0 -18C6 -9.5 12 -5 12 2.500A12 12 0 0 1 -12 2.500C-12 -5 -6 -9.5 0 -18Z" />;
}
