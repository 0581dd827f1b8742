import type { SiteNode } from "@dyetrace/site";
import type { ChannelWater } from "./channel-water.ts";
import type { HostWater } from "./host-water.ts";

/** What stands at a place: a cup at a host, a basin at a switch, by shape so that no colour is needed. */
export function NodeShape(props: {
  readonly node: SiteNode;
  readonly water: ChannelWater;
  readonly host: HostWater | null;
}) {
  const { node, water, host } = props;
  if (node.kind === "host") return host?.kind === "source" ? <Spring water={water} /> : <Cup host={host} />;
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

const CUP = "M-9 -9V1A9 9 0 0 0 9 1V-9Z";

/** A listener: how full the cup is says how much arrived; a lid says that it did not ask for any. */
function Cup({ host }: { readonly host: HostWater | null }) {
  if (host === null) return <circle class="body" r={5} />;
  const level = levelOf(host);
  const isLidded = host.kind === "apart" || host.kind === "uninvited";
  const isLeak = host.kind === "uninvited" && !host.isByDesign;
  return (
    <>
      <path class={`inside${host.kind === "unknown" ? " unknown" : ""}`} d={CUP} />
      {level > 0 && <path class={isLeak ? "fill seeps" : "fill"} d={filledCup(level)} />}
      <path class={`outline${host.kind === "dry" ? " dry" : ""}`} d={CUP} />
      {isLidded && <path class="lid" d="M-12 -12H12" />}
      {host.kind === "uninvited" && (
        <path
          class={isLeak ? "drop seeps" : "drop"}
          d="M0 -31c2.5 4 4.2 5.8 4.2 8.4a4.2 4.2 0 0 1 -8.4 0c0 -2.6 1.7 -4.4 4.2 -8.4z"
        />
      )}
      {host.kind === "dry" && <path class="outline" d="M-4.5 5L4.5 -4M-4.5 -4L4.5 5" />}
    </>
  );
}

/** From 0, empty, to 1, full. A share of the packets would show no loss below a tenth, so the steps are tenfold. */
function levelOf(host: HostWater): number {
  switch (host.kind) {
    case "whole":
      return 1;
    case "some":
      return 0.6;
    case "thins":
      return host.lossRatio < 0.001 ? 0.85 : host.lossRatio < 0.01 ? 0.7 : host.lossRatio < 0.1 ? 0.5 : 0.3;
    case "uninvited":
      return host.isByDesign ? 0 : 0.3;
    default:
      return 0;
  }
}

/** The cup's inside up to a level. */
function filledCup(level: number): string {
  const top = 10 - level * 19;
  if (top <= 1) return `M-9 ${top}V1A9 9 0 0 0 9 1V${top}Z`;
  const half = Math.sqrt(Math.max(0, 9 ** 2 - (top - 1) ** 2));
  return `M${-half} ${top}A9 9 0 0 0 ${half} ${top}Z`;
}
