import type { MapSelection } from "@dyetrace/picture";
import { planPlace } from "@dyetrace/site";
import type { UserFile } from "@dyetrace/wire";
import type { PlanAnswer, PlanRests } from "@dyetrace/wire/console/plan-answer";
import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import type { EditAnswer, PlanEdit } from "@dyetrace/wire/console/plan-edit";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { plan } from "../state/console-state.ts";
import { draft, writeDraft } from "./plan-draft.ts";
import { usePlanCheck } from "./use-plan-check.ts";

export interface Drawn {
  readonly drawing: PlanDrawing;
  readonly rests: PlanRests;
}

export interface PlanEditing {
  /** The plan as it stands on the page. */
  readonly file: UserFile;
  readonly answer: PlanAnswer | null;
  readonly refusal: Refusal | null;
  /** The last plan without mistakes; null: there was none yet. */
  readonly drawn: Drawn | null;
  readonly selection: MapSelection | null;
  readonly select: (selection: MapSelection | null) => void;
  /** What speaks against the last correction, or what it did. */
  readonly says: { readonly text: string; readonly isRefused: boolean } | null;
  readonly isBusy: boolean;
  readonly correct: (edit: PlanEdit) => void;
  /** Another text, typed or drawn. */
  readonly write: (text: string, isTyping?: boolean) => void;
}

const NO_RESTS: PlanRests = { nodes: {}, links: [] };

/** A plan that is corrected on the page: each correction is worked out and checked by the controller, which keeps nothing of it. */
export function usePlanEditing(example: UserFile): PlanEditing {
  const shown = plan.value?.text ?? example;
  const file = draft.value === null ? shown : { file: draft.value.file, text: draft.value.history.now };
  const check = usePlanCheck(file);
  const [drawn, setDrawn] = useState<Drawn | null>(
    plan.value === null ? null : { drawing: plan.value.drawing, rests: NO_RESTS },
  );
  const [selection, setSelection] = useState<MapSelection | null>(null);
  const [says, setSays] = useState<PlanEditing["says"]>(null);
  const [isBusy, setBusy] = useState(false);
  const take = (answer: PlanAnswer): void => {
    if (answer.kind === "plan") setDrawn({ drawing: answer.drawing, rests: answer.rests });
  };
  useEffect(() => {
    if (check.answer !== null) take(check.answer);
  }, [check.answer]);
  const write = (text: string, isTyping = false): void => writeDraft(file.file, file.text, text, isTyping);
  const select = (next: MapSelection | null): void => {
    setSelection(next);
    setSays(null);
  };
  const correct = (edit: PlanEdit): void => {
    setBusy(true);
    setSays(null);
    askController<EditAnswer>("/api/console/plan-edit", { method: "POST", body: { plan: file, edit } })
      .then(
        (edited) => {
          if (edited.kind === "refused") {
            setSays({ text: edited.says, isRefused: true });
            return;
          }
          write(edited.text);
          take(edited.answer);
          if (edit.kind === "rename" && selection !== null) setSelection({ node: edit.to, on: "node" });
          const isGone =
            edit.kind === "remove" || (edit.kind === "join" && planPlace(selection?.node ?? "") === edit.other);
          if (isGone) setSelection(null);
          setSays({ text: sayEdit(edit), isRefused: false });
        },
        (error: unknown) => setSays({ text: asRefusal(error).message, isRefused: true }),
      )
      .finally(() => setBusy(false));
  };
  return { file, answer: check.answer, refusal: check.refusal, drawn, selection, select, says, isBusy, correct, write };
}

function sayEdit(edit: PlanEdit): string {
  switch (edit.kind) {
    case "rename":
      return `${edit.node} is called ${edit.to} now.`;
    case "retype":
      return `${edit.node} is of kind ${edit.to} now.`;
    case "move":
      return `${edit.node} hangs at ${edit.to} now.`;
    case "join":
      return `${edit.node} and ${edit.other} are one now.`;
    case "split":
      return `${edit.name} stands beside ${edit.node} now.`;
    case "add":
      return `${edit.name} hangs at ${edit.at} now.`;
    case "link":
      return `${edit.a} and ${edit.b} are linked now.`;
    case "remove":
      return `${edit.node} is removed.`;
    case "unlink":
      return "The link is removed.";
    case "describe":
      return "The link is changed.";
    case "answer":
      return "The question is answered.";
  }
}
