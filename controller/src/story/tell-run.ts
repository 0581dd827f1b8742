import { StoryNotes, tellStory } from "@dyetrace/measure";
import type { RunStory } from "@dyetrace/wire";
import type { RunEvidence } from "../account/run-evidence.ts";
import type { Store } from "../store/store.ts";
import { type StoryRun, storySetting, storyStreams } from "./story-setting.ts";

/** The story of a run that is over, from what its agents said or, of a long or broken run, from what was stored of it. */
export async function tellRun(run: StoryRun, evidence: RunEvidence, store: Store): Promise<RunStory> {
  const notes = new StoryNotes(storyStreams(run.outline));
  for (const [agent, { reports, watch, isDoubted }] of evidence.agents) {
    if (isDoubted === true) continue;
    if (evidence.isComplete) {
      const canWatch = watch.length === reports.length;
      for (const [index, report] of reports.entries())
        notes.take(agent, report, canWatch ? (watch[index] ?? null) : null);
    } else {
      for await (const { report, watch: seen } of store.reports.ofAgent(run.runId, agent))
        notes.take(agent, report, seen);
    }
  }
  return tellStory(storySetting(run), notes);
}
