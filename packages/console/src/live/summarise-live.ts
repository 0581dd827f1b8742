import type { RunOutline } from "@dyetrace/wire";
import type { ConsoleRun } from "../console-api.ts";
import type { LiveHistory } from "../state/live-history.ts";

type Stream = RunOutline["streams"][number];

export interface LiveSummary {
  readonly sentence: string;
  /** The strips that most need a look, worst first. */
  readonly worst: readonly { readonly agent: string; readonly stream: Stream; readonly says: string }[];
}

/** Worst first. */
const ORDER = ["-", "s", "4", "3", "2", "1"] as const;
const MOST_WORST = 6;

/** What the newest mark of every strip says, in a sentence. */
export function summariseLive(run: ConsoleRun, agents: readonly string[], history: LiveHistory): LiveSummary {
  const counts = new Map<string, number>();
  const bad: { agent: string; stream: Stream; mark: string }[] = [];
  for (const stream of run.outline.streams) {
    for (const agent of agents) {
      if (agent === stream.source) continue;
      const mark = newestTelling(history.strip(agent, stream.streamId)?.marks ?? "");
      counts.set(mark, (counts.get(mark) ?? 0) + 1);
      if ((ORDER as readonly string[]).includes(mark)) bad.push({ agent, stream, mark });
    }
  }
  const count = (...marks: readonly string[]): number => marks.reduce((sum, mark) => sum + (counts.get(mark) ?? 0), 0);
  const parts = [
    [count("f"), "whole"],
    [count("1", "2", "3", "4"), "thin"],
    [count("-"), "dry"],
    [count("s"), "leaking"],
    [count("."), "waiting"],
    [count("o", "d"), "not joined"],
    [count("u", " ", ""), "unknown"],
  ] as const;
  const told = parts.flatMap(([number, word]) => (number === 0 ? [] : [`${number} ${word}`]));
  bad.sort((a, b) => ORDER.findIndex((mark) => mark === a.mark) - ORDER.findIndex((mark) => mark === b.mark));
  return {
    sentence: told.length === 0 ? "nothing has been told yet." : `${told.join(", ")}.`,
    worst: bad.slice(0, MOST_WORST).map(({ agent, stream, mark }) => ({ agent, stream, says: sayMark(mark) })),
  };
}

/** After the last packet everyone waits; what was before that says more. */
export const newestTelling = (marks: string): string => {
  const trimmed = marks.replace(/[. ]+$/, "");
  return trimmed.at(-1) ?? marks.at(-1) ?? " ";
};

export function sayMark(mark: string): string {
  switch (mark) {
    case "f":
      return "whole";
    case "1":
      return "loses under 0.1 %";
    case "2":
      return "loses under 1 %";
    case "3":
      return "loses under 10 %";
    case "4":
      return "loses 10 % or more";
    case "-":
      return "dry";
    case ".":
      return "waiting";
    case "s":
      return "sees it without joining";
    case "d":
      return "gets copies by the site's build";
    case "o":
      return "not joined";
    case "u":
      return "not joined, can't watch";
    default:
      return "no news";
  }
}
