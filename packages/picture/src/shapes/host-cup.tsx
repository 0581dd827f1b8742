import { shapeAt } from "../layout/geometry.ts";
import type { HostWater } from "../water/host-water.ts";
import type { LossClass } from "../water/loss-shape.ts";

/** Beside a cup that stands for several hosts: the rim of another one behind it. */
export const SEVERAL = "m-13 -5v12a9 9 0 0 0 9 8";

const CUP = "m-9 -9v10a9 9 0 0 0 18 0v-10z";
/** How full a cup is by how much is missing, a step for each tenfold: from the rim down. */
const LEVELS: Readonly<Record<LossClass, number>> = { 1: 0.84, 2: 0.66, 3: 0.48, 4: 0.28 };
const CLASSES: readonly LossClass[] = [1, 2, 3, 4];
/** Heights of the cup's inside: its floor, and from there to the rim. */
const FLOOR = 10;
const INSIDE = 19;

/** A listener: how full the cup is says how much arrived, on the scale at its side; a lid, that it did not ask for any. */
export function HostCup(props: { readonly host: HostWater | null; readonly x: number; readonly y: number }) {
  const { host, x, y } = props;
  if (host === null) return <circle class="body" cx={x} cy={y} r={5} />;
  const at = (steps: string): string => shapeAt(props, steps);
  const level = levelOf(host);
  const isLidded = host.kind === "apart" || host.kind === "uninvited";
  const isLeak = host.kind === "uninvited" && !host.isByDesign;
  const isUnknown = host.kind === "unknown" || host.kind === "not-reported";
  const isEmpty = host.kind === "dry" || host.kind === "blocked";
  return (
    <>
      <path class={`inside${isUnknown ? " unknown" : ""}`} d={at(CUP)} />
      {level > 0 && <path class={isLeak ? "fill seeps" : "fill"} d={at(filledCup(level))} />}
      {host.kind === "thins" && host.isInterrupted && <path class="break" d={at("m-9 -5.5h18v3h-18zm0 7h18v3h-18z")} />}
      <path class={`outline${host.kind === "dry" ? " dry" : ""}`} d={at(CUP)} />
      {host.kind === "thins" && !host.isInterrupted && <path class="scale" d={at(SCALE)} />}
      {isLidded && <path class="lid" d={at("m-12 -12h24")} />}
      {host.kind === "uninvited" && (
        <path
          class={isLeak ? "drop seeps" : "drop"}
          d={at("m0 -31c2.5 4 4.2 5.8 4.2 8.4a4.2 4.2 0 0 1 -8.4 0c0 -2.6 1.7 -4.4 4.2 -8.4z")}
        />
      )}
      {host.kind === "blocked" && (
        <>
          <path class="pool" d={at("m-9 -13.5v-3a4 4 0 0 1 4 -4h10a4 4 0 0 1 4 4v3z")} />
          <rect class="bar" x={x - 13} y={y - 13.5} width={26} height={4.5} rx={1} />
        </>
      )}
      {isEmpty && <path class="outline" d={at("m-4.5 5l9 -9m-9 0l9 9")} />}
    </>
  );
}

/** From 0, empty, to 1, full. */
function levelOf(host: HostWater): number {
  switch (host.kind) {
    case "whole":
      return 1;
    case "some":
      return 0.6;
    case "thins":
      return host.isInterrupted ? 1 : LEVELS[host.lossClass];
    case "uninvited":
      return host.isByDesign ? 0 : 0.3;
    default:
      return 0;
  }
}

const heightOf = (level: number): number => FLOOR - level * INSIDE;

/** A stroke at the cup's wall for each step. */
const SCALE = CLASSES.map((lossClass, index) => {
  const before = CLASSES[index - 1];
  const height = heightOf(LEVELS[lossClass]);
  return before === undefined ? `m9 ${height}h4` : `m-4 ${height - heightOf(LEVELS[before])}h4`;
}).join("");

/** The cup's inside up to a level. */
function filledCup(level: number): string {
  const top = heightOf(level);
  if (top <= 1) return `m-9 ${top}v${1 - top}a9 9 0 0 0 18 0v${top - 1}z`;
  const half = Math.sqrt(Math.max(0, 9 ** 2 - (top - 1) ** 2));
  return `m${-half} ${top}a9 9 0 0 0 ${2 * half} 0z`;
}
