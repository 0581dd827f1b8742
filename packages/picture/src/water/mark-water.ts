import type { LiveMark } from "@dyetrace/wire/console/live-second";
import type { HostWater } from "./host-water.ts";
import type { LossClass } from "./loss-shape.ts";

/** What was counted in the time that a mark is of; `hostLost` is null where nobody knows. */
export interface MarkFigures {
  readonly received: number;
  readonly lost: number;
  readonly hostLost: number | null;
}

/**
 * What one mark of a strip says of a listener.
 * @param mark a `LiveMark`, or a blank where nothing was told
 * @param isNow false: nothing is due any more, and the mark is of when something was
 */
export function waterOfMark(mark: LiveMark | string, isNow: boolean, figures: MarkFigures | null): HostWater {
  switch (mark) {
    case "f":
      return { kind: isNow ? "whole" : "waiting" };
    case "-":
      return { kind: "dry" };
    case "b":
      return { kind: "blocked" };
    case ".":
      return { kind: "waiting" };
    case "s":
    case "d":
      return { kind: "uninvited", isByDesign: mark === "d" };
    case "o":
      return { kind: "apart" };
    case "u":
    case "n":
      return { kind: "unknown" };
    case "1":
    case "2":
    case "3":
    case "4": {
      if (!isNow) return { kind: "waiting" };
      const { received, lost, hostLost } = figures ?? { received: 0, lost: 0, hostLost: null };
      const lossRatio = lost === 0 ? null : lost / (received + lost);
      const isHostsOwn = hostLost !== null && lost > 0 && hostLost >= lost;
      return { kind: "thins", lossRatio, lossClass: Number(mark) as LossClass, isInterrupted: false, isHostsOwn };
    }
    default:
      return { kind: "not-reported" };
  }
}
