import type { RunStory, StoryMark, StoryTimer } from "@dyetrace/wire";
import { markWords, SOURCES } from "./mark-words.ts";
import { sayMs } from "./say-span.ts";

/** One thing that happened, in words. */
export interface StoryLine {
  readonly atMs: number;
  readonly what: "message" | "asked" | "data" | "timer" | "table" | "remark";
  /** The lane's name. */
  readonly lane: string;
  readonly group: string | null;
  readonly words: string;
  /** Of messages and of what was asked. */
  readonly mark?: StoryMark;
}

/** Everything that a story tells, line by line, in the order of time. Timers that are only set anew have no line of their own. */
export function storyLines(story: RunStory): StoryLine[] {
  const nameOf = new Map(story.lanes.map(({ id, name, kind }) => [id, kind === "querier" ? `querier ${name}` : name]));
  const named = (lane: string): string => nameOf.get(lane) ?? lane;
  const lines: StoryLine[] = [
    ...story.marks.map(
      (mark): StoryLine => ({
        atMs: mark.atMs,
        what: mark.kind === "asks-join" || mark.kind === "asks-leave" ? "asked" : "message",
        lane: named(mark.lane),
        group: mark.group,
        words: markWords(mark),
        mark,
      }),
    ),
    ...story.data.flatMap(({ lane, stream, group, fromMs, toMs, how }): StoryLine[] => {
      const about = { what: "data", lane: named(lane), group } as const;
      const words = GOES_ON.get(how);
      const goesOn =
        words !== undefined &&
        story.data.some((one) => one.lane === lane && one.stream === stream && one.toMs === fromMs);
      const isFollowed = story.data.some((one) => one.lane === lane && one.stream === stream && one.fromMs === toMs);
      return [
        { ...about, atMs: fromMs, words: goesOn ? words(stream) : BEGINS[how](stream) },
        ...(isFollowed ? [] : [{ ...about, atMs: toMs, words: ENDS[how](stream, sayMs(toMs - fromMs)) }]),
      ];
    }),
    ...story.timers.flatMap((timer): StoryLine[] => timerLines(timer, named(timer.lane))),
    ...story.tables.flatMap(({ node, port, group, readings, goneMs }): StoryLine[] => {
      const [first] = readings;
      const about = { what: "table", lane: node, group } as const;
      const at = `the group table of ${node}, port ${port}`;
      return [
        ...(first === undefined ? [] : [{ ...about, atMs: first[0], words: `${group} stands in ${at}` }]),
        ...(goneMs === null ? [] : [{ ...about, atMs: goneMs, words: `${group} is gone from ${at}` }]),
      ];
    }),
    ...story.remarks.map(
      ({ lane, group, atMs, sentence }): StoryLine => ({
        atMs,
        what: "remark",
        lane: named(lane),
        group,
        words: sentence,
      }),
    ),
  ];
  return lines.sort((a, b) => a.atMs - b.atMs);
}

/** Where nothing changed but that the host was a member, or was no longer. */
const GOES_ON: ReadonlyMap<RunStory["data"][number]["how"], (stream: string) => string> = new Map([
  ["seen", (stream: string) => `data of ${stream} still comes after the leave`],
  ["received", (stream: string) => `data of ${stream}, which came already, is asked for now`],
]);

const BEGINS = {
  sent: (stream: string) => `begins to send ${stream}`,
  received: (stream: string) => `data of ${stream} begins`,
  seen: (stream: string) => `data of ${stream} begins to come, not asked for`,
} as const;

const ENDS = {
  sent: (stream: string, length: string) => `ends sending ${stream}, after ${length}`,
  received: (stream: string, length: string) => `data of ${stream} ends, after ${length}`,
  seen: (stream: string, length: string) => `data of ${stream} no longer comes, after ${length}`,
} as const;

/** A timer's first start and its end; that it was set anew in between is what the reports say. */
function timerLines(timer: StoryTimer, lane: string): StoryLine[] {
  const { name, fromMs, toMs, valueMs, sum, source, end, group, kind, reference } = timer;
  const about = { what: "timer", lane, group } as const;
  const value = sayMs(valueMs) === sum ? sum : `${sum} = ${sayMs(valueMs)}`;
  return [
    ...(kind === "last-member"
      ? [{ ...about, atMs: fromMs, words: `${name} begins: ${value} (${SOURCES[source]}; ${reference})` }]
      : []),
    ...(end === "ran-out"
      ? [{ ...about, atMs: toMs, words: `${name} runs out: ${value} (${SOURCES[source]}; ${reference})` }]
      : []),
  ];
}
