import type { UserFile } from "@dyetrace/wire";
import type { ConsolePlan } from "@dyetrace/wire/console/plan-drawing";
import { useEffect, useRef, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { plan } from "../state/console-state.ts";
import { PlanChanges } from "./plan-changes.tsx";
import { discardDraft, draft, isOvertaken, takeUpPlan } from "./plan-draft.ts";

/** Shows what is to be saved beside what is there, and saves it. */
export function SavePlan(props: {
  readonly file: UserFile;
  readonly canSave: boolean;
  readonly onSaved: () => void;
  readonly onCancel: () => void;
}) {
  const { file, canSave } = props;
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [isSaving, setSaving] = useState(false);
  const head = useRef<HTMLHeadingElement>(null);
  useEffect(() => head.current?.focus(), []);
  const now = plan.value;
  const isLate = isOvertaken.value;
  const save = (): void => {
    setSaving(true);
    setRefusal(null);
    const body = { ...file, replaces: draft.value?.madeFrom ?? null };
    askController<ConsolePlan>("/api/console/plan", { method: "PUT", body })
      .then(
        (saved) => {
          // The event that tells all pages of it may come later than this answer.
          plan.value = saved;
          discardDraft();
          props.onSaved();
        },
        (error: unknown) => setRefusal(asRefusal(error)),
      )
      .finally(() => setSaving(false));
  };
  return (
    <section class="save-plan" aria-labelledby="save-plan">
      <h2 id="save-plan" ref={head} tabIndex={-1}>
        What is saved
      </h2>
      {isLate && (
        <div class="refusal" role="alert">
          <p>The controller's plan was changed meanwhile, by somebody else or on another page.</p>
          <p class="small soft">Below is what differs from the plan that is there now. Saving replaces it.</p>
          <button type="button" class="press small" onClick={takeUpPlan}>
            Understood, replace the plan that is there now
          </button>
        </div>
      )}
      <PlanChanges before={now?.text.text ?? ""} after={file.text} />
      {refusal !== null && <RefusalNote refusal={refusal} />}
      <div class="plan-corrector-buttons">
        <button type="button" class="press pours" disabled={!canSave || isLate || isSaving} onClick={save}>
          Save the plan
        </button>
        <button type="button" class="press" onClick={props.onCancel}>
          Not yet
        </button>
      </div>
    </section>
  );
}
