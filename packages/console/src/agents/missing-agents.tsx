import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import { nameSome } from "../parts/format.ts";
import { byNeighbour } from "./by-neighbour.ts";

/** More are told in groups. */
const FEW = 8;

/** Agents of the plan that are not connected: a few by name, many by what they hang on. */
export function MissingAgents({
  missing,
  drawing,
}: {
  readonly missing: readonly string[];
  readonly drawing: PlanDrawing;
}) {
  if (missing.length === 0) return null;
  if (missing.length <= FEW) return <p>Missing: {missing.join(", ")}.</p>;
  return (
    <details class="missing-agents">
      <summary>
        <b>{missing.length}</b> are missing: {nameSome(missing, FEW)}
      </summary>
      <dl>
        {byNeighbour(missing, drawing).map(({ neighbour, names }) => (
          <div key={neighbour}>
            <dt>
              {neighbour} <span class="soft">{names.length}</span>
            </dt>
            <dd>{names.join(", ")}</dd>
          </div>
        ))}
      </dl>
    </details>
  );
}
