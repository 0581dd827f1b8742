import type { HostWater } from "../water/host-water.ts";
import type { LossClass } from "../water/loss-shape.ts";

/** A piece of a cup: its look by class, and path commands relative to the middle of the cup. */
export interface CupPart {
  readonly look: string;
  readonly steps: string;
}

const CUP = "m-9 -9v10a9 9 0 0 0 18 0v-10z";
/** A host that is nothing to the stream. */
const DOT = "m-5 0a5 5 0 1 0 10 0a5 5 0 1 0 -10 0z";
/** How full a cup is by how much is missing, a step for each tenfold: from the rim down. */
const LEVELS: Readonly<Record<LossClass, number>> = { 1: 0.84, 2: 0.66, 3: 0.48, 4: 0.28 };
const CLASSES: readonly LossClass[] = [1, 2, 3, 4];
/** Heights of the cup's inside: its floor, and from there to the rim. */
const FLOOR = 10;
const INSIDE = 19;

/** What a listener is drawn of, from the back to the front; the same for hosts that got the same. */
export function cupParts(host: HostWater | null): readonly CupPart[] {
  if (host === null) return [{ look: "body", steps: DOT }];
  const level = levelOf(host);
  const isLeak = host.kind === "uninvited" && !host.isByDesign;
  const isUnknown = host.kind === "unknown" || host.kind === "not-reported";
  const parts: CupPart[] = [{ look: isUnknown ? "inside unknown" : "inside", steps: CUP }];
  const add = (look: string, steps: string): void => void parts.push({ look, steps });
  if (level > 0) add(isLeak ? "fill seeps" : "fill", filledCup(level));
  if (host.kind === "thins" && host.isInterrupted) add("break", "m-9 -5.5h18v3h-18zm0 7h18v3h-18z");
  add(host.kind === "dry" ? "outline dry" : "outline", CUP);
  if (host.kind === "thins" && !host.isInterrupted) add("scale", SCALE);
  if (host.kind === "apart" || host.kind === "uninvited") add("lid", "m-12 -12h24");
  if (host.kind === "uninvited") {
    add(isLeak ? "drop seeps" : "drop", "m0 -31c2.5 4 4.2 5.8 4.2 8.4a4.2 4.2 0 0 1 -8.4 0c0 -2.6 1.7 -4.4 4.2 -8.4z");
  }
  if (host.kind === "blocked") {
    add("pool", "m-9 -13.5v-3a4 4 0 0 1 4 -4h10a4 4 0 0 1 4 4v3z");
    add("bar", "m-13 -13.5h26v4.5h-26z");
  }
  if (host.kind === "dry" || host.kind === "blocked") add("outline", "m-4.5 5l9 -9m-9 0l9 9");
  return parts;
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
