import type { PlanCoverage } from "@dyetrace/wire/console/plan-answer";

const MOST_SETS = 6;

/** Which places the agents of a plan can tell apart, and where one more would help. */
export function PlanCoverageNote({ coverage }: { readonly coverage: PlanCoverage }) {
  const { ambiguousSets, untested, nextAgentAt, separableRatio, source, querier } = coverage;
  return (
    <div class="coverage">
      <h2>
        What {coverage.agents} {coverage.agents === 1 ? "agent" : "agents"} can tell apart
      </h2>
      <p>
        {separableRatio === null
          ? "No two places are tested, so there is nothing to tell apart."
          : `Of all pairs of tested places where one fault may sit, ${Math.floor(separableRatio * 100)} % would look different`}
        {separableRatio !== null && source !== null && `, with everyone listening to ${source}`}
        {separableRatio !== null && "."}
      </p>
      {nextAgentAt !== null && (
        <p>
          One more agent at <b>{nextAgentAt}</b> would tell the most.
        </p>
      )}
      {ambiguousSets.length > 0 && (
        <>
          <h3>These look the same</h3>
          <ul class="sets">
            {ambiguousSets.slice(0, MOST_SETS).map((set) => (
              <li key={set.join()}>
                <code>{set.join(", ")}</code>
              </li>
            ))}
          </ul>
          {ambiguousSets.length > MOST_SETS && (
            <p class="small soft">and {ambiguousSets.length - MOST_SETS} more sets</p>
          )}
        </>
      )}
      {untested.length > 0 && (
        <p class="small">
          No traffic reaches <code>{untested.slice(0, 8).join(", ")}</code>
          {untested.length > 8 && ` and ${untested.length - 8} more`}.
        </p>
      )}
      <p class="small soft">
        {querier === null
          ? "The plan names no querier, and nothing on it is likely to be one."
          : `${querier.node} is ${querier.isAssumed ? "taken to be " : ""}the querier.`}
      </p>
    </div>
  );
}
