import { drawStory, narrowToFinding, storyKey } from "@dyetrace/measure";
import type { FindingKind, RunReport, RunStory } from "@dyetrace/wire";
import { Markup, markup } from "../markup.ts";
import { STORY_STYLE } from "./html-story-style.ts";
import { svgOf } from "./svg-markup.ts";

/** Pixels that the picture is drawn for: on paper, and on a screen of any width, it is scaled. */
const WIDTH = 920;

/** Kinds of finding about who asks and who is a member: each has a picture of its own. */
const OF_MEMBERSHIP: ReadonlySet<FindingKind> = new Set<FindingKind>([
  "ages-out",
  "leave-cuts-neighbour",
  "slow-leave",
  "leaks",
  "no-querier",
  "two-queriers",
  "wrong-querier",
  "older-version",
]);

/** The story of a run as pictures: of all of it, and of each finding that is about membership. */
export function renderStorySection(story: RunStory, report: RunReport): Markup {
  const findings = report.findings.flatMap((finding, index) =>
    OF_MEMBERSHIP.has(finding.kind) ? [{ number: index + 1, finding }] : [],
  );
  return markup`<section class="story"><style>${new Markup(STORY_STYLE)}</style><h2>Who asked, who answered</h2>
<p>Time goes from left to right, in seconds of the run. Timers are worked out from the messages${story.tables.length === 0 ? "" : "; short strokes on them are what the switches' own tables said was left"}. <code>dyetrace story ${report.run}</code> tells the same in words.</p>
${picture(story, "of the run")}
${findings.map(
  ({ number, finding }) => markup`<h3>Finding ${number}: ${finding.title}</h3>
${picture(narrowToFinding(story, finding, report), `of finding ${number}`)}`,
)}</section>`;
}

function picture(story: RunStory, what: string): Markup {
  const { fromMs, toMs } = story;
  const drawn = drawStory(story, { width: WIDTH, fromMs, toMs });
  const { width, height, shapes, label, unseen } = drawn;
  const remarks = story.remarks.filter(({ kind }) => kind !== "join-answered" && kind !== "leave-answered");
  return markup`<div class="scroll"><svg class="story-picture" viewBox="0 0 ${width} ${height}" role="img" aria-label="The story ${what}. ${label}">${svgOf(shapes)}</svg></div>
${key(story)}
${remarks.length === 0 ? null : markup`<ul>${remarks.slice(0, MOST_REMARKS).map(({ atMs, sentence, group }) => markup`<li>${(atMs / 1000).toFixed(1)} s${group === null ? "" : `, ${group}`}: ${sentence}</li>`)}</ul>`}
${remarks.length > MOST_REMARKS ? markup`<p class="quiet">and ${remarks.length - MOST_REMARKS} more</p>` : null}
${unseen.length === 0 ? null : markup`<p class="quiet">Nothing to draw of: ${unseen.join(", ")}.</p>`}
${story.leftOut.map((sentence) => markup`<p class="quiet">${sentence}</p>`)}`;
}

const MOST_REMARKS = 12;

function key({ marks, tables, data }: RunStory): Markup {
  const entries = storyKey({
    kinds: new Set(marks.map(({ kind }) => kind)),
    isMeasured: tables.length > 0,
    isUninvited: data.some(({ how }) => how === "seen"),
  });
  return markup`<ul class="story-key">${entries.map(
    ({ shapes, words }) => markup`<li><svg viewBox="0 0 34 16" aria-hidden="true">${svgOf(shapes)}</svg> ${words}</li>`,
  )}</ul>`;
}
