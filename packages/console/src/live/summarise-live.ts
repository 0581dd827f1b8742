import type { RunOutline } from "@dyetrace/wire";
import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import type { HistoryStrip, LiveHistory } from "../state/live-history.ts";
import { stripNews } from "../state/strip-news.ts";
import { countSeconds, sayMark, sayNow, sayStrip } from "./strip-words.ts";

type Stream = RunOutline["streams"][number];

export interface LiveSummary {
  readonly sentence: string;
  /** The strips that most need a look, worst first. */
  readonly worst: readonly { readonly agent: string; readonly stream: Stream; readonly says: string }[];
  /** How many more there are. */
  readonly moreBad: number;
}

/** When it is said: while the run goes on, its newest second; afterwards, the seconds that are kept. */
export type SaidOf = { readonly kind: "now"; readonly second: number } | { readonly kind: "over" };

/** What one strip says. */
interface Said {
  /** What it is counted under. */
  readonly word: string;
  /** Above 0: needs a look, the more the worse. */
  readonly trouble: number;
  readonly says: string;
}

/** In the order in which they are told. */
const WORDS = [
  "whole",
  "lose some",
  "come with losses not known",
  "dry",
  "dry all the time",
  "dry for a time",
  "at the network card only",
  "leaking",
  "with nothing due",
  "not joined",
  "not reported",
  "reported in part",
] as const;
const MOST_WORST = 6;

/** What the strips say, in a sentence. */
export function summariseLive(
  run: ConsoleRun,
  agents: readonly string[],
  history: LiveHistory,
  of: SaidOf,
): LiveSummary {
  const counts = new Map<string, number>();
  const bad: (Said & { readonly agent: string; readonly stream: Stream })[] = [];
  for (const stream of run.outline.streams) {
    for (const agent of agents) {
      if (agent === stream.source) continue;
      const said =
        of.kind === "now"
          ? saidNow(history.strip(agent, stream.streamId), of.second)
          : saidOver(history.allMarks(agent, stream.streamId));
      counts.set(said.word, (counts.get(said.word) ?? 0) + 1);
      if (said.trouble > 0) bad.push({ ...said, agent, stream });
    }
  }
  const told = WORDS.flatMap((word) => {
    const count = counts.get(word) ?? 0;
    return count === 0 ? [] : [`${count} ${count === 1 ? (SINGLE[word] ?? word) : word}`];
  });
  bad.sort((a, b) => b.trouble - a.trouble);
  return {
    sentence: told.length === 0 ? "nothing has been told yet." : `${told.join(", ")}.`,
    worst: bad.slice(0, MOST_WORST).map(({ agent, stream, says }) => ({ agent, stream, says })),
    moreBad: Math.max(0, bad.length - MOST_WORST),
  };
}

const SINGLE: Readonly<Partial<Record<string, string>>> = {
  "lose some": "loses some",
  "come with losses not known": "comes with losses not known",
};

/** Nothing at all comes first, then who told nothing, then what came uninvited, then losses by their share. */
const TROUBLE = { dry: 4, blocked: 3.9, untold: 3, leaking: 2, inPart: 1.5 } as const;
/** Of losses whose figures are not known, the least that their class stands for. */
const LEAST_LOSS: Readonly<Record<string, number>> = { "1": 1e-6, "2": 0.001, "3": 0.01, "4": 0.1 };

function saidNow(strip: HistoryStrip | null, second: number): Said {
  const { mark, isNow } = stripNews(strip, second);
  const figures = isNow ? (strip?.last ?? null) : null;
  const says = sayNow(mark, isNow, figures);
  switch (mark) {
    case "f":
      return { word: "whole", trouble: 0, says };
    case "n":
      return { word: "come with losses not known", trouble: 0, says };
    case "-":
      return { word: "dry", trouble: TROUBLE.dry, says };
    case "b":
      return { word: "at the network card only", trouble: TROUBLE.blocked, says };
    case "s":
      return { word: "leaking", trouble: TROUBLE.leaking, says };
    case ".":
      return { word: "with nothing due", trouble: 0, says };
    case "o":
    case "d":
    case "u":
      return { word: "not joined", trouble: 0, says };
    case "1":
    case "2":
    case "3":
    case "4": {
      const all = figures === null ? 0 : figures.received + figures.lost;
      const share = figures === null || all === 0 ? (LEAST_LOSS[mark] ?? 0) : figures.lost / all;
      return { word: "lose some", trouble: share, says };
    }
    default:
      // Before the run's first seconds nobody can have told anything.
      return { word: "not reported", trouble: second > FIRST_NEWS_S ? TROUBLE.untold : 0, says: sayMark(" ") };
  }
}

const FIRST_NEWS_S = 4;

/** Of what was due in the seconds that are kept: the share in which nothing came, then the share with losses. */
function saidOver(marks: string): Said {
  const { whole, thin, dry, blocked, leaking, idle, apart, unsure, untold } = countSeconds(marks);
  const due = whole + thin + dry + blocked + unsure;
  const says = sayStrip(marks);
  if (dry > 0 && dry === due) return { word: "dry all the time", trouble: TROUBLE.dry, says };
  if (blocked > 0) return { word: "at the network card only", trouble: TROUBLE.blocked, says };
  if (dry > 0) return { word: "dry for a time", trouble: TROUBLE.untold + dry / due, says };
  if (leaking > 0) return { word: "leaking", trouble: TROUBLE.leaking, says };
  if (thin > 0) return { word: "lose some", trouble: thin / due, says };
  if (untold > 0 && due > 0) return { word: "reported in part", trouble: TROUBLE.inPart, says };
  if (unsure > 0) return { word: "come with losses not known", trouble: 0, says };
  if (whole > 0) return { word: "whole", trouble: 0, says };
  if (idle > 0) return { word: "with nothing due", trouble: 0, says };
  return apart > 0 ? { word: "not joined", trouble: 0, says } : { word: "not reported", trouble: TROUBLE.untold, says };
}
