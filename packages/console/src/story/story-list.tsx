import { storyLines } from "@dyetrace/measure";
import type { RunStory } from "@dyetrace/wire";
import { formatCount } from "@dyetrace/wire";
import type { StoryWindow } from "./story-window.ts";

/** Lines that are listed at once; zooming in shows others. */
const MOST_LINES = 200;

/** Everything of the time that is shown, in words: what the picture says, for whoever reads rather than looks. */
export function StoryList({ story, shown }: { readonly story: RunStory; readonly shown: StoryWindow }) {
  const lines = storyLines(story).filter(({ atMs }) => atMs >= shown.fromMs && atMs <= shown.toMs);
  return (
    <details class="story-list">
      <summary>In words: {formatCount(lines.length)} lines of the time that is shown</summary>
      {lines.length === 0 && <p class="soft">Nothing was heard in this time, and no data began or ended.</p>}
      <ol>
        {lines.slice(0, MOST_LINES).map(({ atMs, lane, words, what }, index) => (
          <li key={index} class={what}>
            <span class="at">{(atMs / 1000).toFixed(2)} s</span> <b>{lane}</b> <span>{words}</span>
          </li>
        ))}
      </ol>
      {lines.length > MOST_LINES && (
        <p class="small soft">
          {formatCount(lines.length - MOST_LINES)} more lines lie in this time: zoom in, or take the file.
        </p>
      )}
    </details>
  );
}
