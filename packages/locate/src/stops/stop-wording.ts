import { formatCount } from "@dyetrace/wire";
import { count, nameList, seconds } from "../finding/wording.ts";
import { type SilentTime, silentGroups, silentTime } from "./silent-groups.ts";
import { inseparable } from "./stop-ambiguity.ts";
import type { StopCase } from "./stop-case.ts";

/** More groups than this are not told one by one. */
const MOST_GROUPS = 2;

/**
 * "kiosk-1 and gate-2 got nothing, and everyone else got everything".
 * @param nothing what they got
 */
export function silentPhrase(stop: StopCase, nothing: "nothing" | "none of them" = "nothing"): string {
  const groups = silentGroups(stop.silentPairs);
  const time = silentTime(stop.silentPairs);
  const rest = restPhrase(stop);
  if (groups.length === 1) return `${nameList(stop.silentHosts)} got ${nothing}${timePhrase(time)}${rest}`;
  if (groups.length > MOST_GROUPS) {
    const since = time === null ? "" : ` after ${seconds(time.allMs)}`;
    return `${nameList(stop.silentHosts)} each got nothing of one stream or more${time?.untilMs == null ? since : ""}${rest}`;
  }
  const told = groups.map(
    (group) => `${nameList(group.hosts)} got nothing of ${nameList(group.streams)}${timePhrase(group.time)}`,
  );
  return `${told.join("; ")}${rest}`;
}

/** Times that differ by less are said as one. */
const TOGETHER_MS = 500;

/** " after 12.3 s", " from 2.0 s to 4.0 s"; empty where nothing ever came. */
export function timePhrase(time: SilentTime | null): string {
  if (time === null) return "";
  const { firstMs, allMs, untilMs } = time;
  if (untilMs !== null)
    return untilMs > allMs ? ` from ${seconds(allMs)} to ${seconds(untilMs)}` : " for a part of the run";
  return ` after ${seconds(allMs)}${allMs - firstMs > TOGETHER_MS ? `, the first of them after ${seconds(firstMs)}` : ""}`;
}

function restPhrase({ witnesses, streams }: StopCase): string {
  const { isNobodyElse, isRestComplete, served } = witnesses;
  if (isNobodyElse) return `, and nobody else reports on ${nameList(streams)}`;
  if (isRestComplete) return ", and everyone else got everything";
  return served.length === 0 ? "" : `, while ${nameList(served.flatMap(({ hosts }) => hosts))} did`;
}

/** Who missed how much, and what the source says. */
export function stopEvidence(stop: StopCase, suspects: readonly string[]): string[] {
  return [...silentEvidence(stop), ...sourceEvidence(stop), ...servedEvidence(stop), ...inseparable(stop, suspects)];
}

const MOST_LINES = 6;

function silentEvidence({ silentPairs }: StopCase): string[] {
  const lines = silentPairs.map(({ trial, receipt }) => {
    const name = `${receipt.listener.host}, ${trial.facts.stream.stream}`;
    if (trial.facts.stream.sending === "assumed") return `${name}: nothing came`;
    const sent = count(receipt.sentPackets, "packet");
    if (receipt.listener.receivedPackets === 0) return `${name}: 0 of ${sent}`;
    const last = receipt.listener.lastArrivalMs;
    const when = last === null ? "" : `, the last at ${seconds(last)}`;
    return `${name}: ${formatCount(receipt.sentPackets - receipt.lostPackets)} of ${sent}${when}`;
  });
  const distinct = [...new Set(lines)];
  const more = distinct.length - MOST_LINES;
  return more > 0 ? [...distinct.slice(0, MOST_LINES), `and ${more} more like these`] : distinct;
}

function sourceEvidence({ facts }: StopCase): string[] {
  return facts
    .slice(0, MOST_LINES)
    .map(({ stream }) =>
      stream.sending === "assumed"
        ? `Whether ${stream.source} sends ${stream.stream} is not known`
        : stream.sending === "seen"
          ? `Of ${stream.stream} ${count(stream.sentPackets ?? 0, "packet")} from ${stream.source} were seen, or their numbers were`
          : stream.sentPackets === null
            ? `${stream.source} did not report how much of ${stream.stream} it sent`
            : `${stream.source} sent ${count(stream.sentPackets, "packet")} of ${stream.stream}`,
    );
}

/** That many are told by what they got; the title has the rest. */
const MOST_SERVED = 2;

function servedEvidence({ witnesses, streams, silentPairs }: StopCase): string[] {
  if (witnesses.isEveryPairSilent && new Set(silentPairs.map(({ receipt }) => receipt.node)).size > 1) {
    const time = silentTime(silentPairs);
    if (time !== null && time.untilMs !== null) return [];
    const after = time === null ? "" : ` after ${seconds(time.allMs)}`;
    return [
      `No listener that reported received anything of ${nameList(streams)}${after}, so the fault lies before the first branch.`,
    ];
  }
  return witnesses.served
    .slice(0, MOST_SERVED)
    .map(
      ({ hosts, streams: of }) =>
        `${nameList(hosts)} received ${nameList(of)} meanwhile, which clears every segment on the way there.`,
    );
}
