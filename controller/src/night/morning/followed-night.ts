import { formatDurationNs, type Night, type RunReport } from "@dyetrace/wire";
import { addKnown } from "./night-strips.ts";

const HOW_FAR = "The notes of the report say how far their packets can be told apart.";

/** Losses of a brief run are counted and placed, and not looked at one by one. Pure. @param report null: not concluded */
export const lossIncidents = (report: Pick<RunReport, "incidents"> | null): Pick<Night, "hasLossIncidents"> =>
  report !== null && report.incidents === undefined ? { hasLossIncidents: false } : {};

/** What a reader of the night has to know where streams of others were followed, and when most was lost. Pure. @param report null: not concluded */
export function followedSentences(report: Pick<RunReport, "media" | "incidents"> | null, startedMs: number): string[] {
  if (report === null) {
    const why =
      "what was lost of them is known once the run is concluded, so there are no strips and no incidents of losses";
    return [`Streams of others were followed: ${why}. ${HOW_FAR}`];
  }
  const isBrief = report.incidents === undefined;
  const what = isBrief ? "their strips are" : "their strips and the incidents of their losses are";
  const how = `${what} by the numbers that all agents' packets make one row of${isBrief ? "; in a run as short as this single losses are no incidents" : ""}`;
  const unsure = isBrief
    ? "Where a stream bears no sequence number, its cells say at best that a part was not measured"
    : "Where a stream bears no sequence number, what was lost to all may not show as an incident, and its cells say at best that a part was not measured";
  return [`Streams of others were followed: ${how}. ${unsure}. ${HOW_FAR}`, ...worstPiece(report, startedMs)];
}

function worstPiece({ media = [] }: Pick<RunReport, "media">, startedMs: number): string[] {
  let worst: { readonly ratio: number; readonly sentence: string } | null = null;
  for (const { stream, listener, overTime } of media) {
    for (const [index, piece] of (overTime?.pieces ?? []).entries()) {
      if (piece === null || overTime === undefined || piece[1] === 0) continue;
      const [received, lost, hostLost] = piece;
      const ratio = lost / (received + lost + (hostLost ?? 0));
      if (worst !== null && ratio <= worst.ratio) continue;
      const at = (part: number): string => new Date(startedMs + part * overTime.pieceMs).toISOString().slice(11, 16);
      const when = `Most was lost from ${at(index)} to ${at(index + 1)} UTC`;
      const share = (ratio * 100).toPrecision(2);
      worst = { ratio, sentence: `${when}: ${lost} packets of ${stream} did not come to ${listener}, ${share} %.` };
    }
  }
  return worst === null ? [] : [worst.sentence];
}

type Counts = Pick<Night, "received" | "lost" | "hostLost">;

/** By what all agents saw, as the conclusion has it: an agent alone knows no loss. Pure. @param report null: not concluded */
export function followedCounts(report: Pick<RunReport, "receipts"> | null): Counts {
  if (report === null || report.receipts.length === 0) return { received: null, lost: null, hostLost: null };
  const { receipts } = report;
  return {
    received: addKnown(receipts.map(({ received }) => received)),
    lost: addKnown(receipts.map(({ lost }) => lost)),
    hostLost: addKnown(receipts.map(({ hostLost }) => hostLost)),
  };
}

/** As much as is known of losses, as an end of the headline. Pure. */
export function followedWords({ lost, hostLost, isOver }: Counts & Pick<Night, "isOver">): string {
  if (lost === null) {
    return isOver
      ? "what was lost of the followed streams is not known of every listener"
      : "what was lost of the followed streams is known once the run is concluded";
  }
  const host =
    hostLost === null
      ? "; what the listeners' own hosts dropped is not known of all"
      : hostLost === 0
        ? ""
        : `; their own hosts dropped ${packets(hostLost)}`;
  // Of packets without numbers nobody sees a loss that is everybody's: none found is less than none.
  const what = lost === 0 ? "no packet" : packets(lost);
  return `${what} of the followed streams ${lost > 1 ? "were" : "was"} found to be lost on the way${host}`;
}

/** The headline where nothing else happened: before the conclusion only what an agent can tell by itself is known. Pure. */
export function followedSoundWords(night: Counts & Pick<Night, "isOver" | "untilMs" | "hasLossIncidents">): string {
  const length = `${formatDurationNs(night.untilMs * 1e6)}${night.isOver ? "" : " so far"}`;
  const found = night.hasLossIncidents === false ? "no incident beside losses was found" : "no incident was found";
  const none = night.lost === null ? "no agent told of an incident by itself" : found;
  return `In ${length} ${none}; ${followedWords(night)}`;
}

const packets = (count: number): string => `${count} ${count === 1 ? "packet" : "packets"}`;
