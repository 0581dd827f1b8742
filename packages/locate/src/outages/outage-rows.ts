import { type FindingRule, having, rowsOf } from "../finding/finding-row.ts";
import { portName, suspectPhrase } from "../finding/place-wording.ts";
import { count, nameList, seconds } from "../finding/wording.ts";
import { cutSuspects } from "../membership/leave-cut.ts";
import type { Outage } from "./outage.ts";
import type { OutageCase } from "./outage-case.ts";

const row = rowsOf<OutageCase>({
  streams: ({ streams }) => streams,
  suspects: ({ suspects }) => suspects,
  witnesses: ({ hosts }) => hosts,
  evidence: outageEvidence,
});

/** A gap that ended has left nothing to look at again, as a stop has. Our estimate, no source. */
const OUTAGE_CONFIDENCE = 0.9;
/** Whatever else happens at regular times looks the same. Our estimate, no source. */
const PERIOD_CONFIDENCE = 0.8;

/** Nobody else heard a query either. Our estimate, no source. */
const DOUBTED_AGEING_CONFIDENCE = 0.65;

export const OUTAGE_ROWS: readonly FindingRule<OutageCase>[] = [
  row({
    kind: "leave-cuts-neighbour",
    match: (outage) => {
      const [cut] = outage.cuts ?? [];
      return cut === undefined ? null : { ...outage, cut };
    },
    title: (outage) =>
      `${nameList(outage.hosts)} behind the port ${portName(outage.cut.port.from)} lost ${nameList(outage.streams)} for ${outage.outages.length === 1 ? "" : "up to "}${seconds(length(outage))} when ${outage.cut.leave.host} behind the same port left it`,
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
      `${nameList(outage.streams)} ${outage.streams.length === 1 ? "comes and goes" : "come and go"} at ${nameList(outage.hosts)}, every ${seconds(outage.periodMs)}: memberships seem to run out before the next query`,
    confidence: () => PERIOD_CONFIDENCE,
    advice:
      "Compare the query interval with the time after which the switch forgets a member: it must be at least two query intervals and the response time, on every switch of the VLAN.",
    reference: "RFC 3376, section 8.4",
  }),
  row({
    kind: "ages-out",
    match: (outage) => having(outage, "ageing"),
    title: (outage) =>
      `${nameList(outage.streams)} ran out at ${nameList(outage.hosts)} for ${outage.outages.length === 1 ? "" : "up to "}${seconds(length(outage))}: the membership was not renewed in time, and the next report brought it back`,
    evidence: ({ ageing }) => ageing.evidence,
    suspects: ({ ageing, suspects }) => (ageing.suspects.length === 0 ? suspects : ageing.suspects),
    confidence: ({ ageing }) => (ageing.isCertain ? OUTAGE_CONFIDENCE : DOUBTED_AGEING_CONFIDENCE),
    advice:
      "Look for what kept the queries away for that time: the querier restarted or changed, its queries were lost on the way. Each silence of it that is longer than a membership has taken the streams with it.",
    reference: "RFC 3376, section 8.4; RFC 3810, section 9.4",
  }),
  row({
    kind: "loses",
    match: (outage) => outage,
    title: (outage) =>
      `${nameList(outage.streams)} had ${outage.outages.length === 1 ? "a gap" : `${outage.outages.length} gaps`} of up to ${seconds(length(outage))} ${suspectPhrase(outage.suspects, outage.segments)}: ${nameList(outage.hosts)} lost it, then it came back`,
    confidence: () => OUTAGE_CONFIDENCE,
    advice:
      "Look in the logs of the switches at both ends for what happened at these times: a link that went down and up, a spanning tree change, a full queue, a query that came late.",
    reference: "common practice, no standard",
  }),
];

/** Outages that are told one by one. */
const MOST_TOLD = 5;

/** What every outage shows. */
function outageEvidence({ outages, cuts }: OutageCase): string[] {
  const lines = outages.slice(0, MOST_TOLD).map(({ facts, numbers, startMs, endMs, receipts }) => {
    const packets = count(numbers[1] - numbers[0] + 1, "packet");
    return `${nameList(receipts.map((r) => r.listener.host))} missed ${packets} of ${facts.stream.stream} in a row, ${seconds(startMs)} to ${seconds(endMs)}.`;
  });
  lines.push(...servedEvidence(outages));
  for (const { leave, afterMs } of cuts?.slice(0, MOST_TOLD) ?? []) {
    lines.push(`${leave.host} left at ${seconds(leave.atMs)}, ${seconds(afterMs)} before the gap.`);
  }
  return lines;
}

function servedEvidence(outages: readonly Outage[]): string[] {
  const served = outages.map((outage) => outage.served.map(({ listener }) => listener.host));
  const always = [...new Set(served[0])].filter((host) => served.every((hosts) => hosts.includes(host)));
  if (always.length > 0) return [`${nameList(always)} received half of it or more meanwhile.`];
  return served.some((hosts) => hosts.length > 0)
    ? ["Other listeners received half of it or more in some of these times."]
    : ["No other listener received half of it meanwhile."];
}

const length = ({ outages }: OutageCase): number => Math.max(...outages.map((o) => o.endMs - o.startMs));
