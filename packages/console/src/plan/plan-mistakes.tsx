import type { FileMistake } from "@dyetrace/wire/console/file-mistake";
import type { PlanAnswer } from "@dyetrace/wire/console/plan-answer";

const MOST_SHOWN = 8;

/** What is wrong with the plan, each mistake with its line; or how much is in it. */
export function PlanMistakes(props: {
  readonly answer: PlanAnswer | null;
  readonly onGoTo: (mistake: FileMistake) => void;
}) {
  const { answer } = props;
  if (answer === null) return null;
  if (answer.kind === "plan") {
    const { nodes, links } = answer.drawing;
    return (
      <p class="small soft">
        No mistakes: {nodes.length} {nodes.length === 1 ? "node" : "nodes"}, {links.length}{" "}
        {links.length === 1 ? "link" : "links"}.
      </p>
    );
  }
  const { mistakes } = answer;
  if (mistakes.length === 0) return null;
  return (
    <ul class="mistakes">
      {mistakes.slice(0, MOST_SHOWN).map((mistake) => (
        <li key={`${mistake.line} ${mistake.message}`}>
          {mistake.line !== null && (
            <button type="button" class="as-link" onClick={() => props.onGoTo(mistake)}>
              Line {mistake.line}
            </button>
          )}{" "}
          {mistake.message}. <span class="soft">{mistake.hint}</span>
        </li>
      ))}
      {mistakes.length > MOST_SHOWN && <li>and {mistakes.length - MOST_SHOWN} more</li>}
    </ul>
  );
}
