import { type FindingRule, having, rowsOf } from "../finding/finding-row.ts";
import { betweenPhrase, portName } from "../finding/place-wording.ts";
import { count, nameList, seconds } from "../finding/wording.ts";
import { cutSuspects } from "../membership/leave-cut.ts";
import type { OutageCase } from "./outage-case.ts";

const row = rowsOf<OutageCase>({
  streams: ({ streams }) => streams,
  suspects: ({ suspects }) => suspects,
  evidence: outageEvidence,
});

/** A gap that ended has left nothing to look at again, as a stop has. Our estimate, no source. */
const OUTAGE_CONFIDENCE = 0.9;
/** Whatever else happens at regular times looks the same. Our estimate, no source. */
const PERIOD_CONFIDENCE = 0.8;

export const OUTAGE_ROWS: readonly FindingRule<OutageCase>[] = [
  row({
    kind: "leave-cuts-neighbour",
    match: (outage) => having(outage, "cut"),
    title: (outage) =>
      `When ${outage.cut.leave.host} left ${nameList(outage.streams)}, ${nameList(outage.hosts)} behind the same port ${portName(outage.cut.port.from)} lost it for ${seconds(length(outage))}`,
    suspects: ({ cut, suspects }) => cutSuspects(cut, suspects),
    confidence: () => OUTAGE_CONFIDENCE,
    advice:
      "Cut off at once: turn fast leave off on this port, more than one host lies behind it. Cut off after about two seconds: see whether the group-specific query reaches the other hosts and their answer comes back in time.",
    reference: "RFC 3376, section 6.4.2; RFC 2236, section 3",
  }),
  row({
    kind: "ages-out",
    match: (outage) => (outage.isAgeing ? having(outage, "periodMs") : null),
    title: (outage) =>
      `${nameList(outage.streams)} comes and goes at ${nameList(outage.hosts)}, every ${seconds(outage.periodMs)}: memberships seem to run out before the next query`,
    confidence: () => PERIOD_CONFIDENCE,
    advice:
      "Compare the query interval with the time after which the switch forgets a member: it must be at least two query intervals and the response time, on every switch of the VLAN.",
    reference: "RFC 3376, section 8.4",
  }),
  row({
    kind: "loses",
    match: (outage) => outage,
    title: (outage) =>
      `${nameList(outage.streams)} had ${outage.outages.length === 1 ? "a gap" : `${outage.outages.length} gaps`} of up to ${seconds(length(outage))} ${between(outage)}: ${nameList(outage.hosts)} lost it, then it came back`,
    confidence: () => OUTAGE_CONFIDENCE,
    advice:
      "Look in the logs of the switches at both ends for what happened at these times: a link that went down and up, a spanning tree change, a full queue, a query that came late.",
    reference: "common practice, no standard",
  }),
];

/** What every outage shows. */
function outageEvidence({ outages, cut }: OutageCase): string[] {
  const lines = outages.slice(0, 5).map(({ facts, numbers, startMs, endMs, receipts }) => {
    const packets = count(numbers[1] - numbers[0] + 1, "packet");
    return `${nameList(receipts.map((r) => r.listener.host))} missed ${packets} of ${facts.stream.stream} in a row, ${seconds(startMs)} to ${seconds(endMs)}.`;
  });
  const served = [...new Set(outages.flatMap((outage) => outage.served.map((receipt) => receipt.listener.host)))];
  lines.push(
    served.length === 0
      ? "No listener received anything meanwhile, so the gap lies before the first branch."
      : `${nameList(served)} received it meanwhile.`,
  );
  if (cut !== null)
    lines.push(`${cut.leave.host} left at ${seconds(cut.leave.atMs)}, ${seconds(cut.afterMs)} before the gap.`);
  return lines;
}

const length = ({ outages }: OutageCase): number => Math.max(...outages.map((o) => o.endMs - o.startMs));

function between({ segments, suspects }: OutageCase): string {
  const [first, last] = [segments[0], segments.at(-1)];
  if (first === undefined || last === undefined) return `in ${suspects[0] ?? "an unknown place"}`;
  return betweenPhrase(first, last);
}
