import { type StoryLine, storyLines } from "@dyetrace/measure";
import type { RunStory } from "@dyetrace/wire";
import { type Paint, type Tone, wrapTo } from "../terminal-paint.ts";
import { timeOfDay, zoneAt } from "../time-of-day.ts";

/** A story for people at a terminal: a line for each message, and for each beginning and end of data and timers. */
export function renderStory(story: RunStory, paint: Paint, columns: number): string {
  const { startedAt } = story;
  const lines = storyLines(story).filter(({ atMs }) => atMs >= story.fromMs && atMs <= story.toMs);
  const lane = Math.min(MOST_LANE, Math.max(4, ...lines.map((line) => line.lane.length)));
  const hasClock = startedAt !== null && columns >= LEAST_WITH_CLOCK;
  const told = lines.flatMap((line) => {
    const clock = hasClock ? `${timeOfDay(startedAt, line.atMs)}  ` : "";
    const head = `${runTime(line.atMs).padStart(11)}  ${clock}${line.lane.padEnd(lane)}  `;
    return wrapTo(columns, line.words, head, " ".repeat(head.length)).map((text, index) =>
      paintLine(text, index === 0 ? head.length : 0, line, paint),
    );
  });
  const zone = startedAt === null ? "" : `, times of day in ${zoneAt(startedAt)}`;
  return [
    "",
    `${paint(story.site, "strong")} · ${story.scenario} · the story of run ${story.run}${story.isOver ? "" : ", so far"}`,
    paint(`Times count from the run's start${hasClock ? zone : ""}.`, "quiet"),
    "",
    ...(told.length === 0 ? ["Nothing was heard, and no data came."] : told),
    ...(story.leftOut.length === 0 ? [] : ["", ...story.leftOut.flatMap((one) => wrapTo(columns, one, "", ""))]),
    "",
    "",
  ].join("\n");
}

const MOST_LANE = 24;
const LEAST_WITH_CLOCK = 72;

/** `2.004 s`. */
const runTime = (atMs: number): string => `${(atMs / 1000).toFixed(3)} s`;

const TONES: Readonly<Record<StoryLine["what"], Tone | null>> = {
  message: null,
  asked: "quiet",
  data: null,
  timer: "quiet",
  table: "quiet",
  remark: "strong",
};

function paintLine(text: string, from: number, { what }: StoryLine, paint: Paint): string {
  const tone = TONES[what];
  return tone === null ? text : `${text.slice(0, from)}${paint(text.slice(from), tone)}`;
}
