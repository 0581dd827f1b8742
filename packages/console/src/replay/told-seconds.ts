import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import type { RunReplay } from "@dyetrace/wire/console/run-replay";
import { KEPT_SECONDS, type LiveHistory, ON_THE_WAY_S } from "../state/live-history.ts";

export interface ToldSeconds {
  /** Of the run, the first that is kept. */
  readonly first: number;
  readonly count: number;
  readonly strips: RunReplay["strips"];
}

/**
 * What was told of one stream of a run that goes on, second by second, as long as it is kept. Seconds of which some may
 * still be on their way are not among them: they would look as if nobody had reported.
 * @returns null: nothing yet
 */
export function toldSeconds(run: ConsoleRun, stream: string, history: LiveHistory): ToldSeconds | null {
  const about = run.outline.streams.find(({ name }) => name === stream);
  const first = Math.max(0, history.latestSecond - KEPT_SECONDS + 1);
  const count = history.latestSecond - ON_THE_WAY_S - first + 1;
  if (about === undefined || count <= 0) return null;
  const agents = run.drawing.nodes.flatMap(({ agent }) => agent ?? []);
  return {
    first,
    count,
    strips: agents.flatMap((agent) =>
      history.strip(agent, about.streamId) === null
        ? []
        : { agent, stream, marks: history.allMarks(agent, about.streamId).padEnd(count).slice(0, count) },
    ),
  };
}
