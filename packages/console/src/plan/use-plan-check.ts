import type { UserFile } from "@dyetrace/wire";
import type { PlanAnswer } from "@dyetrace/wire/console/plan-answer";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { link } from "../state/console-state.ts";

/** Time without a keystroke before the controller is asked. */
const SETTLED_MS = 200;

/** What the controller says of a plan that is being written, once its writer has paused. */
export function usePlanCheck(file: UserFile): { readonly answer: PlanAnswer | null; readonly refusal: Refusal | null } {
  const [answer, setAnswer] = useState<PlanAnswer | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const isOn = link.value.kind === "on";
  useEffect(() => {
    if (!isOn) return;
    const gone = new AbortController();
    const timer = setTimeout(() => {
      askController<PlanAnswer>("/api/console/plan-check", { method: "POST", body: file, signal: gone.signal }).then(
        (next) => {
          setAnswer(next);
          setRefusal(null);
        },
        (error: unknown) => {
          if (!gone.signal.aborted) setRefusal(asRefusal(error));
        },
      );
    }, SETTLED_MS);
    return () => {
      clearTimeout(timer);
      gone.abort();
    };
  }, [file.text, file.file, isOn]);
  return { answer, refusal };
}
