import { planPlace } from "@dyetrace/site";
import { betweenPhrase } from "../finding/place-wording.ts";
import { count, nameList, seconds } from "../finding/wording.ts";
import type { StopCase } from "./stop-case.ts";

/** "between core:1 and pier-east:24", or "in sw3" when no link is left among the suspects. */
export function placePhrase({ segments, nodes }: StopCase): string {
  const [first, ...others] = segments;
  if (first === undefined) return `in ${nodes[0] ?? "an unknown place"}`;
  let last = first;
  for (const next of others) {
    // A trunk and a VLAN on it, or both directions of one link.
    if (planPlace(next.id) === planPlace(last.id) || next.link === last.link) continue;
    if (planPlace(next.from.node) !== planPlace(last.to.node)) break;
    last = next;
  }
  return betweenPhrase(first, last);
}

/** "kiosk-1 and gate-2 got nothing, everyone else everything". */
export function silentPhrase(stop: StopCase): string {
  const silent = nameList(stop.silentHosts);
  const what = stop.sinceMs === null ? `${silent} got nothing` : `${silent} got nothing after ${seconds(stop.sinceMs)}`;
  if (stop.isEveryoneSilent) return `${what}, and nobody else reports on ${nameList(stop.streams)}`;
  return stop.isRestComplete ? `${what}, everyone else everything` : `${what}, while ${nameList(stop.servedHosts)} did`;
}

/** Who missed how much, and what the source says. */
export function stopEvidence(stop: StopCase): string[] {
  return [...silentEvidence(stop), ...sourceEvidence(stop), ...servedEvidence(stop), ...inseparable(stop)];
}

const MOST_LINES = 6;

function silentEvidence({ silentPairs }: StopCase): string[] {
  const lines = silentPairs.map(({ trial, receipt }) => {
    const name = `${receipt.listener.host}, ${trial.facts.stream.stream}`;
    const sent = count(receipt.sentPackets, "packet");
    if (receipt.listener.receivedPackets === 0) return `${name}: 0 of ${sent}`;
    const last = receipt.listener.lastArrivalMs;
    const when = last === null ? "" : `, the last at ${seconds(last)}`;
    return `${name}: ${receipt.sentPackets - receipt.lostPackets} of ${sent}${when}`;
  });
  const distinct = [...new Set(lines)];
  const more = distinct.length - MOST_LINES;
  return more > 0 ? [...distinct.slice(0, MOST_LINES), `and ${more} more like these`] : distinct;
}

function sourceEvidence({ facts }: StopCase): string[] {
  return facts
    .slice(0, MOST_LINES)
    .map(({ stream }) =>
      stream.sentPackets === null
        ? `${stream.source} did not report how much of ${stream.stream} it sent`
        : `${stream.source} sent ${count(stream.sentPackets, "packet")} of ${stream.stream}`,
    );
}

function servedEvidence(stop: StopCase): string[] {
  if (stop.isEveryoneSilent)
    return ["No listener of these streams received anything, so the fault lies before the first branch."];
  return [
    `${nameList(stop.servedHosts)} received ${nameList(stop.streams)} to the end, which clears every segment on the way there.`,
  ];
}

/** A trunk and one VLAN on it are said once. */
const inPlan = (places: readonly string[]): string[] => [...new Set(places.map(planPlace))];

/** Why the suspects beyond the first can't be split. */
function inseparable(stop: StopCase): string[] {
  const reasons: string[] = [];
  const forward = inPlan(stop.segments.map((segment) => segment.id));
  if (forward.length > 1) {
    reasons.push(
      `${nameList(forward)} form one chain with no branch and no agent in between: all or none of it lets packets through.`,
    );
  }
  const nodes = inPlan(stop.suspects.filter((name) => !name.includes(">")));
  if (nodes.length > 0 && forward.length > 0) {
    reasons.push(
      `${nameList(nodes)} and the link beside it silence the same listeners, so no listener can tell them apart; a source placed there could.`,
    );
  }
  const reports = inPlan(stop.reportSegments.map((segment) => segment.id));
  if (reports.length > 0) {
    reasons.push(
      `Membership reports travel the other way, on ${nameList(reports)}: if they are lost there, the port before it forgets the group, which looks the same.`,
    );
  }
  if (stop.failure.otherExplanations > 0) {
    reasons.push("Another set of as many faults explains the same silence; its members stand last among the suspects.");
  }
  return reasons;
}
