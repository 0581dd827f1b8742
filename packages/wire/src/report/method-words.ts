import { followsOthers } from "../follows-others.ts";
import type { RunReport } from "./report-schema.ts";

/** How the figures of a report came about, in sentences. */
export const methodOf = (report: Pick<RunReport, "streams">): readonly string[] => [
  ...(followsOthers(report) ? FOLLOWED : SENT),
  ...METHOD,
];

const SENT = [
  "Each source numbers its packets from 0. A number that was sent while a listener was joined and that had not arrived when later ones had is lost (RFC 7680). Packets that the listening host itself dropped are counted apart and never as the network's loss.",
];

const FOLLOWED = [
  "Nothing was sent: streams of others were followed. Packets with a sequence number of their own (RFC 3550) are counted by it. Others are told apart by digests of their payload, as in RFC 5475, and what all agents had of them makes one row: a packet of that row that a listener did not have while it was joined is lost. What was lost to all of them shows only where the packets bear a number or a counter. Packets that the listening host itself dropped are counted apart and never as the network's loss.",
];

const METHOD = [
  "A gap is a run of consecutive missing numbers; its time runs from the last packet before it to the first one after it. Jitter is that of RFC 3550, join and leave delay those of RFC 2432.",
  "Delay varies by how much longer packets were under way than the fastest of the same 10 s (RFC 5481). A packet is out of order when later ones overtook it: by so many places (RFC 4737). Loss periods are runs of losses (RFC 3357); a burst begins and ends with a loss and has fewer than 16 packets received in a row (RFC 3611). Delay factor and media loss are those of the worst second (RFC 4445).",
  "Beside a loss of 0 stands the most that it may be, at 95 %: nothing lost of n packets says no more than about 3/n. A limit is met or not met only where that interval lies on one side of it (Clopper and Pearson, 1934); else it is undecided. A limit of 0 % is about the packets of this run alone.",
  "A bystander has not joined and watches its network card for frames that should not arrive. An agent that can't watch is shown as such, never as clean.",
  "A finding names the smallest set of segments that the agents' places can tell apart. Where no count is given, it is not known.",
];
