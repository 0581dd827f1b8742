import { storyLines } from "@dyetrace/measure";
import type { RunStory } from "@dyetrace/wire";
import { type Cell, csv } from "../csv/write-csv.ts";

/** One line for each message, and for each beginning and end of data and timers. */
export function csvOfStory(story: RunStory): string {
  const startedMs = story.startedAt === null ? null : Date.parse(story.startedAt);
  const rows = storyLines(story).map(({ atMs, what, lane, group, words, mark }): Cell[] => [
    atMs,
    startedMs === null ? null : new Date(startedMs + atMs).toISOString(),
    what,
    lane,
    group,
    mark?.kind ?? null,
    mark?.protocol ?? null,
    mark?.version ?? null,
    mark?.record ?? null,
    mark?.sources.join(" ") ?? null,
    mark?.maxResponseMs ?? null,
    mark?.queryIntervalMs ?? null,
    mark?.robustness ?? null,
    mark?.heardBy.join(" ") ?? null,
    mark?.count ?? null,
    mark?.lastMs ?? null,
    words,
  ]);
  return csv([HEAD, ...rows]);
}

const HEAD = [
  "at_ms",
  "at",
  "what",
  "lane",
  "group",
  "message",
  "protocol",
  "version",
  "record",
  "sources",
  "max_response_ms",
  "query_interval_ms",
  "robustness",
  "heard_by",
  "count",
  "last_ms",
  "words",
];
