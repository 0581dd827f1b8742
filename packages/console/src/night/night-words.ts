import { formatCount, formatRatio, type Night, type NightListener, type NightUnwatched } from "@dyetrace/wire";
import { formatClock, formatDay } from "../parts/format.ts";

/** What was counted in all: who got nothing at all has no share of its own in it, and stands in the headline. */
export function sayCounted({
  received,
  lost,
  followsOthers,
}: Pick<Night, "received" | "lost" | "followsOthers">): string {
  if (received === null || lost === null) {
    const came = received === null ? "How many packets came is not known" : `${formatCount(received)} packets received`;
    return `${came}, ${lost === null ? "how many were lost is not known" : `${formatCount(lost)} lost on the way`}.`;
  }
  if (received + lost === 0) return "No packet was counted.";
  const came = received === 1 ? "1 packet was received" : `${formatCount(received)} packets were received`;
  if (lost === 0) return followsOthers === true ? `${came}, none was found lost.` : `${came}.`;
  return `${came}, ${formatCount(lost)} ${lost === 1 ? "was" : "were"} lost (${formatRatio(lost / (received + lost))}).`;
}

/** Losses of streams of others are incidents once the run is concluded; and what was lost to all may show nowhere. */
export function sayIncidents({
  incidents,
  followsOthers,
  hasLossIncidents,
  lost,
}: Pick<Night, "incidents" | "followsOthers" | "hasLossIncidents" | "lost">): string {
  if (incidents.length > 0)
    return incidents.length === 1 ? "1 incident." : `${formatCount(incidents.length)} incidents.`;
  if (followsOthers !== true) return "No incident.";
  if (lost === null) return "No incident that an agent can tell by itself.";
  return hasLossIncidents === false ? "No incident beside losses was found." : "No incident was found.";
}

/** `02:14:05`, and the day before it where that is another than the one the night began on. */
export function clockOf(startedAt: string, atMs: number): string {
  const at = new Date(Date.parse(startedAt) + atMs);
  const day = formatDay(at.toISOString());
  return day === formatDay(startedAt) ? formatClock(at) : `${day}, ${formatClock(at)}`;
}

/** What each letter of a strip means, in the order in which the key has them. */
export const KEY: readonly (readonly [string, string])[] = [
  ["-", "everything came"],
  ["1", "under 0.01 % did not come"],
  ["2", "under 0.1 %"],
  ["3", "under 1 %"],
  ["4", "1 % or more"],
  ["5", "nothing came"],
  ["?", "a part was not measured"],
  [".", "not measured"],
];

/** What a strip shows, for whoever does not see it. */
export function sayStrip({ cells }: Pick<NightListener, "cells">): string {
  const counts = new Map<string, number>();
  for (const cell of cells) counts.set(cell, (counts.get(cell) ?? 0) + 1);
  return KEY.flatMap(([letter, words]) => {
    const count = counts.get(letter) ?? 0;
    return count === 0 ? [] : [`${words} in ${count === 1 ? "1 cell" : `${count} cells`}`];
  }).join(", ");
}

/** Agents that did not watch in the same time for the same reason, most agents first. */
export function unwatchedAlike(
  unwatched: Night["unwatched"],
): readonly (Omit<NightUnwatched, "agent"> & { readonly agents: readonly string[] })[] {
  const groups = new Map<string, { fromMs: number; toMs: number; why: NightUnwatched["why"]; agents: string[] }>();
  for (const { agent, fromMs, toMs, why } of unwatched) {
    const key = `${fromMs} ${toMs} ${why}`;
    const known = groups.get(key);
    if (known === undefined) groups.set(key, { fromMs, toMs, why, agents: [agent] });
    else known.agents.push(agent);
  }
  return [...groups.values()].toSorted((a, b) => b.agents.length - a.agents.length);
}

/** Why nobody watched. */
export const UNWATCHED_WORDS: Readonly<Record<NightUnwatched["why"], string>> = {
  "never-there": "took no part",
  away: "measured nothing",
  "reports-dropped": "measured, and had no room to keep it",
  "host-drops": "may have lost packets in the host itself, uncounted",
};
