import type { RunOutline, RunReport } from "@dyetrace/wire";
import type { LiveHistory } from "../state/live-history.ts";

/** What reached one agent of one stream, in the words of the map. */
export type HostWater =
  | { readonly kind: "source" }
  /** Joined, everything came. */
  | { readonly kind: "whole" }
  | { readonly kind: "thins"; readonly lossRatio: number }
  /** Joined, packets came; whether any are missing is unknown, of all or of a part. */
  | { readonly kind: "some" }
  /** Joined while the source sent, and nothing came. */
  | { readonly kind: "dry" }
  /** Joined, and nothing is due now. */
  | { readonly kind: "waiting" }
  /** It should have told, and did not; or it can't see. */
  | { readonly kind: "unknown" }
  /** Not joined, saw nothing: as it should be. */
  | { readonly kind: "apart" }
  /** Not joined, and frames came; `isByDesign` where the site's build copies them there. */
  | { readonly kind: "uninvited"; readonly isByDesign: boolean };

/** From a finished run. @returns null for an agent that has nothing to do with the stream */
export function waterInReport(
  report: RunReport,
  stream: string,
  agent: string,
  isReachedByDesign: boolean,
): HostWater | null {
  const about = report.streams.find(({ name }) => name === stream);
  if (about?.source === agent) return { kind: "source" };
  const receipt = report.receipts.find((one) => one.stream === stream && one.listener === agent);
  if (receipt !== undefined) {
    if (receipt.received === null) return { kind: "unknown" };
    // Of a part that nobody told of it may have got anything.
    const isPartial = receipt.unknown !== undefined;
    if (receipt.received === 0) return { kind: isPartial ? "unknown" : "dry" };
    if (receipt.lossRatio === null || (isPartial && receipt.lossRatio === 0)) return { kind: "some" };
    return receipt.lossRatio > 0 ? { kind: "thins", lossRatio: receipt.lossRatio } : { kind: "whole" };
  }
  const bystander = report.bystanders.find((one) => one.stream === stream && one.agent === agent);
  if (bystander === undefined) return null;
  if (bystander.frames === null) return { kind: "unknown" };
  return bystander.frames === 0 ? { kind: "apart" } : { kind: "uninvited", isByDesign: isReachedByDesign };
}

/** Loss that a live mark stands for: the middle of its class. */
const LOSS_OF_MARK: Readonly<Record<string, number>> = { "1": 0.0005, "2": 0.005, "3": 0.05, "4": 0.3 };
/** An agent's newest second may be this old before the map stops trusting it. */
const NEWS_WITHIN_S = 3;

/** As the newest second of a run says. @param nowSecond the second that the run is in */
export function waterLive(
  history: LiveHistory,
  stream: RunOutline["streams"][number],
  agent: string,
  nowSecond: number,
): HostWater | null {
  if (stream.source === agent) return { kind: "source" };
  const strip = history.strip(agent, stream.streamId);
  if (strip === null) return nowSecond > NEWS_WITHIN_S ? { kind: "unknown" } : { kind: "waiting" };
  if (strip.from + strip.marks.length - 1 < nowSecond - 1 - NEWS_WITHIN_S) return { kind: "unknown" };
  const mark = strip.marks.at(-1) ?? " ";
  switch (mark) {
    case "f":
      return { kind: "whole" };
    case "-":
      return { kind: "dry" };
    case ".":
      return { kind: "waiting" };
    case "s":
    case "d":
      return { kind: "uninvited", isByDesign: mark === "d" };
    case "o":
      return { kind: "apart" };
    default: {
      const lossRatio = LOSS_OF_MARK[mark];
      return lossRatio === undefined ? { kind: "unknown" } : { kind: "thins", lossRatio };
    }
  }
}
