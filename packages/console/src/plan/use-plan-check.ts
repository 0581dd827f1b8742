import type { UserFile } from "@dyetrace/wire";
import type { PlanAnswer } from "@dyetrace/wire/console/plan-answer";
import { type SettledAnswer, useSettledAnswer } from "../state/use-settled-answer.ts";

/** Time without a keystroke before the controller is asked. */
const SETTLED_MS = 200;

/** What the controller says of a plan that is being written, once its writer has paused. */
export const usePlanCheck = (file: UserFile): SettledAnswer<PlanAnswer> =>
  useSettledAnswer("/api/console/plan-check", file, JSON.stringify(file), SETTLED_MS);
