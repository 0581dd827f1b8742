import type { Rests } from "./drawn-comments.ts";
import { PlanText } from "./plan-text.ts";

/**
 * On what the nodes and links of a drawn plan rest, as their comments say.
 * @returns nodes by name, and links by their place in the plan's list; null where a line is not a drawing's, or was changed by hand
 */
export function restsIn(text: string): {
  readonly nodes: ReadonlyMap<string, Rests>;
  readonly links: readonly (Rests | null)[];
} {
  const plan = new PlanText(text);
  return plan.isPlan ? plan.rests() : { nodes: new Map(), links: [] };
}
