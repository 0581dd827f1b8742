import { narrowToFinding, narrowToGroup } from "@dyetrace/measure";
import type { RunStory } from "@dyetrace/wire";
import { useMemo, useState } from "preact/hooks";
import { findingOfAddress } from "../map/place-in-address.ts";
import { Awaited } from "../parts/awaited.tsx";
import { OfViewedRun } from "../parts/of-viewed-run.tsx";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { RunNote } from "../parts/run-note.tsx";
import { hrefChanged, hrefTo, replaceAddress, route } from "../state/route.ts";
import type { RunView } from "../state/run-view.ts";
import { StoryChart } from "../story/story-chart.tsx";
import { StoryList } from "../story/story-list.tsx";
import type { StoryWindow } from "../story/story-window.ts";
import { useStory } from "../story/use-story.ts";

/** Who asked, who answered, who left; when the data came and went; which timer ran. */
export const StoryPage = () => (
  <OfViewedRun
    none={
      <>
        No run yet, so there is no story. <a href={hrefTo("run")}>Start one</a>, or open{" "}
        <a href={hrefTo("runs")}>an earlier run</a>.
      </>
    }
    show={(view) => <ToldRun key={view.runId} view={view} />}
  />
);

function ToldRun({ view }: { readonly view: RunView }) {
  const told = useStory(view.runId);
  return (
    <div class="story-page">
      <header>
        <RunNote view={view} />
      </header>
      {told.kind === "asking" && <Awaited what="the story" />}
      {told.kind === "refused" && <RefusalNote refusal={told.refusal} />}
      {told.kind === "told" && <Story view={view} story={told.story} />}
    </div>
  );
}

function Story({ view, story }: { readonly view: RunView; readonly story: RunStory }) {
  const { report } = view;
  const findings = report?.findings ?? [];
  const finding = findingOfAddress(route.value.query.get("finding"), findings.length);
  const [group, setGroup] = useState<string | null>(null);
  const [moved, setMoved] = useState<StoryWindow | null>(null);
  const groups = useMemo(
    () => [...new Set([...story.marks.flatMap((mark) => mark.group ?? []), ...story.data.map((one) => one.group)])],
    [story],
  );
  const chosen = useMemo(() => {
    const one = finding === null ? undefined : report?.findings[finding];
    const narrowed = one === undefined || report === null ? story : narrowToFinding(story, one, report);
    return group === null || !groups.includes(group) ? narrowed : narrowToGroup(narrowed, group);
  }, [story, report, finding, group]);
  const whole: StoryWindow = { fromMs: chosen.fromMs, toMs: chosen.toMs };
  const shown = moved ?? whole;
  const remarks = chosen.remarks.filter(({ kind }) => kind !== "join-answered" && kind !== "leave-answered");
  return (
    <>
      <div class="story-choices">
        <label class="field">
          <span>group</span>
          <select
            value={group ?? ""}
            onChange={(event) => setGroup(event.currentTarget.value === "" ? null : event.currentTarget.value)}
          >
            <option value="">all groups</option>
            {groups.map((one) => (
              <option key={one} value={one}>
                {one}
              </option>
            ))}
          </select>
        </label>
        {findings.length > 0 && (
          <label class="field">
            <span>about</span>
            <select
              value={finding === null ? "" : String(finding + 1)}
              onChange={(event) => {
                setMoved(null);
                const value = event.currentTarget.value;
                replaceAddress(hrefChanged("story", { finding: value === "" ? null : value }));
              }}
            >
              <option value="">the whole run</option>
              {findings.map(({ title }, index) => (
                <option key={index} value={String(index + 1)}>
                  {`finding ${index + 1}: ${title}`}
                </option>
              ))}
            </select>
          </label>
        )}
        {story.isOver && (
          <p class="small">
            Messages as <a href={`/api/console/runs/${story.run}/files/story.csv`}>CSV</a>,{" "}
            <a href={`/api/console/runs/${story.run}/files/story.json`}>JSON</a>
          </p>
        )}
      </div>
      {remarks.length > 0 && (
        <ul class="story-remarks">
          {remarks.slice(0, MOST_REMARKS).map(({ lane, atMs, sentence, group: of }, index) => (
            <li key={index}>
              <button
                type="button"
                class="press small"
                aria-label={`Show ${lane} at ${(atMs / 1000).toFixed(1)} s`}
                onClick={() => setMoved(around(atMs, whole))}
              >
                {(atMs / 1000).toFixed(1)} s
              </button>{" "}
              {sentence} <span class="water">{of}</span>
            </li>
          ))}
          {remarks.length > MOST_REMARKS && (
            <li class="soft">and {remarks.length - MOST_REMARKS} more, in words below</li>
          )}
        </ul>
      )}
      <StoryChart story={chosen} shown={shown} onShow={setMoved} />
      {chosen.leftOut.map((sentence) => (
        <p key={sentence} class="small soft">
          {sentence}
        </p>
      ))}
      <StoryList story={chosen} shown={shown} />
    </>
  );
}

const MOST_REMARKS = 8;
const AROUND_MS = 4000;

const around = (atMs: number, whole: StoryWindow): StoryWindow => ({
  fromMs: Math.max(whole.fromMs, atMs - AROUND_MS),
  toMs: Math.min(whole.toMs, atMs + AROUND_MS),
});
