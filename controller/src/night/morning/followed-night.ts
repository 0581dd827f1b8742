import { formatDurationNs, type Night, type RunReport } from "@dyetrace/wire";
import { addKnown } from "./night-strips.ts";

/** What a reader of the night has to know where streams of others were followed. */
export const FOLLOWED_SENTENCE =
  "Streams of others were followed: what was lost of them is known once the run is concluded, for the whole run and not minute by minute, so there are no strips and no incidents of losses. The notes of the report say how far their packets can be told apart.";

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

/** The headline where nothing else happened. Pure. */
export const followedSoundWords = (night: Counts & Pick<Night, "isOver" | "untilMs">): string =>
  `In ${formatDurationNs(night.untilMs * 1e6)}${night.isOver ? "" : " so far"} no agent told of an incident by itself; ${followedWords(night)}`;

const packets = (count: number): string => `${count} ${count === 1 ? "packet" : "packets"}`;
