import { useState } from "preact/hooks";

const MOST_SHOWN = 12;

/** A question that the drawn plan asks, and the nodes of the plan that it names. */
export interface PlanQuestion {
  readonly text: string;
  readonly about: readonly string[];
}

/** What the drawing could not tell, each pointing at its place. Answered is what whoever knows the site says is answered. */
export function PlanQuestions(props: {
  readonly questions: readonly PlanQuestion[];
  readonly shown: string | null;
  readonly isBusy: boolean;
  readonly onShow: (question: PlanQuestion) => void;
  readonly onAnswered: (question: PlanQuestion) => void;
}) {
  const { questions, shown, isBusy } = props;
  const [isWhole, setWhole] = useState(false);
  if (questions.length === 0) return null;
  const listed = isWhole ? questions : questions.slice(0, MOST_SHOWN);
  return (
    <section class="plan-questions" aria-labelledby="plan-questions">
      <h2 id="plan-questions">
        {questions.length} {questions.length === 1 ? "question" : "questions"}
      </h2>
      <ol>
        {listed.map((question, index) => (
          <li key={question.text} class={question.text === shown ? "is-shown" : undefined}>
            <p>
              <b>{index + 1}.</b> {question.text}
              {/[.?!]$/.test(question.text) ? "" : "."}
            </p>
            <div class="plan-corrector-buttons">
              {question.about.length > 0 && (
                <button type="button" class="as-link" onClick={() => props.onShow(question)}>
                  Show it <span class="hidden-name">(question {index + 1})</span>
                </button>
              )}
              <button type="button" class="as-link" disabled={isBusy} onClick={() => props.onAnswered(question)}>
                It is answered <span class="hidden-name">(question {index + 1})</span>
              </button>
            </div>
          </li>
        ))}
      </ol>
      {questions.length > listed.length && (
        <button type="button" class="as-link" onClick={() => setWhole(true)}>
          and {questions.length - listed.length} more
        </button>
      )}
    </section>
  );
}

/** Nodes that a sentence names, in the order of the sentence; `core:1` names `core`. */
export function nodesNamed(sentence: string, nodes: ReadonlySet<string>): readonly string[] {
  const words = sentence.match(/[A-Za-z][A-Za-z0-9-]*/g) ?? [];
  return [...new Set(words.filter((word) => nodes.has(word)))];
}
