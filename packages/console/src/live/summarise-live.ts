import type { RunOutline } from "@dyetrace/wire";
import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import type { LiveHistory } from "../state/live-history.ts";

type Stream = RunOutline["streams"][number];

export interface LiveSummary {
  readonly sentence: string;
  /** The strips that most need a look, worst first. */
  readonly worst: readonly { readonly agent: string; readonly stream: Stream; readonly says: string }[];
}

/** Worst first. */
const ORDER: readonly string[] = ["-", "s", "4", "3", "2", "1"];
const MOST_WORST = 6;

/**
 * What the strips say, in a sentence.
 * @param isOver false: their newest marks; true: the worst that each showed in the seconds that are kept
 */
export function summariseLive(
  run: ConsoleRun,
  agents: readonly string[],
  history: LiveHistory,
  isOver: boolean,
): LiveSummary {
  const counts = new Map<string, number>();
  const bad: { agent: string; stream: Stream; mark: string; marks: string }[] = [];
  for (const stream of run.outline.streams) {
    for (const agent of agents) {
      if (agent === stream.source) continue;
      const marks = history.strip(agent, stream.streamId)?.marks ?? "";
      const mark = isOver ? worstOf(marks) : newestTelling(marks);
      counts.set(mark, (counts.get(mark) ?? 0) + 1);
      if (rankOf(mark) < ORDER.length) bad.push({ agent, stream, mark, marks });
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
    [count("u", " "), "unknown"],
  ] as const;
  const told = parts.flatMap(([number, word]) => (number === 0 ? [] : [`${number} ${word}`]));
  bad.sort((a, b) => rankOf(a.mark) - rankOf(b.mark));
  return {
    sentence: told.length === 0 ? "nothing has been told yet." : `${told.join(", ")}.`,
    worst: bad.slice(0, MOST_WORST).map(({ agent, stream, mark, marks }) => ({
      agent,
      stream,
      says: isOver ? sayStrip(marks) : sayMark(mark),
    })),
  };
}

const rankOf = (mark: string): number => {
  const rank = ORDER.indexOf(mark);
  return rank < 0 ? ORDER.length : rank;
};

/** The worst mark of a strip; of marks that are no trouble the one that tells most. */
function worstOf(marks: string): string {
  let worst = " ";
  for (const mark of [...ORDER, "f", "d", "o", ".", "u"]) {
    if (marks.includes(mark)) {
      worst = mark;
      break;
    }
  }
  return worst;
}

/** A whole strip in words, when its run is over. */
export function sayStrip(marks: string): string {
  const seconds = (...wanted: readonly string[]): number => [...marks].filter((mark) => wanted.includes(mark)).length;
  const dry = seconds("-");
  const thin = seconds("1", "2", "3", "4");
  const whole = seconds("f");
  const leaking = seconds("s");
  const told = [
    ...(dry === 0 ? [] : [whole + thin === 0 ? "dry" : `dry for ${dry} s`]),
    ...(thin === 0 ? [] : [`loses in ${thin} of ${thin + whole} s`]),
    ...(leaking === 0 ? [] : [`saw it uninvited for ${leaking} s`]),
  ];
  if (told.length > 0) return told.join(", ");
  return whole > 0 ? "whole" : sayMark(worstOf(marks));
}

/** After the last packet everyone waits; what was before that says more. */
const newestTelling = (marks: string): string => marks.replace(/[. ]+$/, "").at(-1) ?? marks.at(-1) ?? " ";

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
