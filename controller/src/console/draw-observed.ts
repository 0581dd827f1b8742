import { drawSite, loadSitePlan, type Observations, updatePlan, writeDrawnPlan } from "@dyetrace/site";
import type { UserFile } from "@dyetrace/wire";
import type { DrawnPlan } from "@dyetrace/wire/console/plan-draw";

/**
 * @param site its name in the plan
 * @param updates the plan that changes are proposed to; null: a plan of its own
 * @throws {Fault} SITE_PLAN_INVALID where `updates` has mistakes
 */
export function drawObserved(observations: Observations, site: string, updates: UserFile | null): DrawnPlan {
  const drawing = drawSite(observations, site);
  const count = (by: "seen" | "concluded" | "open"): number => drawing.links.filter((link) => link.by === by).length;
  return {
    kind: "drawn",
    text:
      updates === null
        ? writeDrawnPlan(drawing)
        : updatePlan(updates.text, loadSitePlan(updates.text, updates.file), drawing),
    nodes: drawing.nodes.length,
    seen: count("seen"),
    concluded: count("concluded"),
    open: count("open"),
    questions: drawing.questions.length,
  };
}
