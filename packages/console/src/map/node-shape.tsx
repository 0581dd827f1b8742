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
  const filled = water === "flows" || water === "thins" || water === "seeps";
  const fill = filled ? `fill${water === "seeps" ? " seeps" : ""}` : water === "unknown" ? "hatched" : "none";
  const body = `body${water === "dry" ? " dry" : ""}`;
  switch (node.kind) {
    case "switch":
      return (
        <>
          <rect class={body} x={-13} y={-9} width={26} height={18} rx={4} />
          {fill !== "none" && <rect class={fill} x={-9.5} y={-5.5} width={19} height={11} rx={2} />}
        </>
      );
    case "router":
      return (
        <>
          <path class={body} d="M0 -13L13 0L0 13L-13 0Z" />
          {fill !== "none" && <path class={fill} d="M0 -7.5L7.5 0L0 7.5L-7.5 0Z" />}
        </>
      );
    case "unmanaged":
      return (
        <>
          <circle class={body} r={11} />
          {fill !== "none" && <circle class={fill} r={7} />}
        </>
      );
    case "access-point":
      return (
        <>
          <path class={body} d="M-12 7A12 12 0 0 1 12 7Z" />
          {fill !== "none" && <path class={fill} d="M-7.5 4A7.5 7.5 0 0 1 7.5 4Z" />}
          <path class="body" style={{ fill: "none" }} d="M-7 -9A10 10 0 0 1 7 -9" />
        </>
      );
  }
}

/** The source: a spring that is full, or hatched while nobody knows. */
function Spring({ water }: { readonly water: ChannelWater }) {
  return (
    <>
      <path class="body" d="M0 -15C5 -8 10 -4 10 2A10 10 0 0 1 -10 2C-10 -4 -5 -8 0 -15Z" />
      {water === "flows" && (
        <path class="fill" d="M0 -9C3.5 -4 6.6 -1.5 6.6 2.4A6.6 6.6 0 0 1 -6.6 2.4C-6.6 -1.5 -3.5 -4 0 -9Z" />
      )}
    </>
  );
}

const CUP = "M-9 -9V1A9 9 0 0 0 9 1V-9Z";

/** A listener: how full the cup is says how much arrived; a lid says that it did not ask for any. */
function Cup({ host }: { readonly host: HostWater | null }) {
  if (host === null) return <circle class="body" r={5} />;
  const level = levelOf(host);
  const isLidded = host.kind === "apart" || host.kind === "uninvited";
  return (
    <>
      <path class={`body${host.kind === "dry" ? " dry" : ""}`} d={CUP} />
      {host.kind === "unknown" && <path class="hatched" d={CUP} />}
      {level > 0 && (
        <path class={host.kind === "uninvited" && !host.isByDesign ? "fill seeps" : "fill"} d={filledCup(level)} />
      )}
      {isLidded && <path class="body" d="M-12 -11H12" />}
      {host.kind === "uninvited" && (
        <path
          class={host.isByDesign ? "drop" : "drop seeps"}
          d="M13 -6c2.5 4 4 5.500 4 8a4 4 0 0 1 -8 0c0 -2.500 1.500 -4 4 -8z"
        />
      )}
      {host.kind === "dry" && <path class="body" d="M-5 5L5 -5M-5 -5L5 5" />}
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

/** The cup's inside up to a level, a little smaller than the cup. */
function filledCup(level: number): string {
  const top = 6.8 - level * 13.3;
  if (top <= 1) return `M-6.800 ${top}V1A6.800 6.800 0 0 0 6.800 1V${top}Z`;
  const half = Math.sqrt(Math.max(0, 6.8 ** 2 - (top - 1) ** 2));
  return `M${-half} ${top}A6.800 6.800 0 0 0 ${half} ${top}Z`;
}
