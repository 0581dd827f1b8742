import { RestsKey } from "@dyetrace/picture/shapes/rests-lines";
import { planPlace, questionsIn } from "@dyetrace/site";
import type { UserFile } from "@dyetrace/wire";
import type { FileMistake } from "@dyetrace/wire/console/file-mistake";
import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { CodeEditor, goToPlace } from "../plan/code-editor.tsx";
import { DrawFromSite } from "../plan/draw-from-site.tsx";
import { PlanCorrector } from "../plan/plan-corrector.tsx";
import { PlanCoverageNote } from "../plan/plan-coverage-note.tsx";
import { discardDraft, draft, isUnsaved, redoDraft, undoDraft } from "../plan/plan-draft.ts";
import { PlanHead } from "../plan/plan-head.tsx";
import { PlanMap } from "../plan/plan-map.tsx";
import { PlanMistakes } from "../plan/plan-mistakes.tsx";
import { nodesNamed, PlanQuestions } from "../plan/plan-questions.tsx";
import { SavePlan } from "../plan/save-plan.tsx";
import { usePlanEditing } from "../plan/use-plan-editing.ts";
import { isPractice, link, plan } from "../state/console-state.ts";
import { hrefTo } from "../state/route.ts";
import { mayOperate } from "../state/session.ts";
import "../style/plan-page.css";

const EXAMPLE: UserFile = {
  file: "site-plan.yaml",
  text: `# Nodes, and the links between their ports. A host carries the agent of the same name.
site: My site
nodes:
  core:     { kind: switch, querier: true }
  floor-1:  { kind: switch }
  player:   { kind: host }
  screen-1: { kind: host }
  screen-2: { kind: host }
links:
  - core:9 -- player:eth0
  - { between: [core:1, floor-1:24], speed: 1 Gbit/s }
  - floor-1:1 -- screen-1:eth0
  - floor-1:2 -- screen-2:eth0
`,
};

/** The plan of the site: drawn from what was seen, corrected by pointing or as text, checked at each step, saved, and run. */
export function PlanPage() {
  const editing = usePlanEditing(EXAMPLE);
  const { file, answer, drawn, selection, says, isBusy, correct } = editing;
  const [isSaving, setSaving] = useState(false);
  const [isSaved, setSaved] = useState(false);
  const [asked, setAsked] = useState<string | null>(null);
  const page = useRef<HTMLDivElement>(null);
  useUndoKeys();
  const isOn = link.value.kind === "on";
  const unsaved = isUnsaved.value;
  useEffect(() => {
    if (unsaved) setSaved(false);
    else setSaving(false);
  }, [unsaved]);
  const isStale = answer?.kind === "mistakes" && answer.mistakes.length > 0;
  const canSave = isOn && mayOperate.value && unsaved && answer?.kind === "plan" && !isBusy;
  const questions = useMemo(() => {
    const names = new Set(drawn?.drawing.nodes.map(({ name }) => name));
    return questionsIn(file.text).map((text) => ({ text, about: nodesNamed(text, names) }));
  }, [file.text, drawn]);
  const number = questions.findIndex(({ text }) => text === asked);
  const question = questions[number];
  const shown = useMemo(
    () => (question === undefined ? null : { number: number + 1, about: question.about }),
    [question?.text, number, drawn],
  );
  const goTo = ({ line, column }: FileMistake): void => {
    const area = page.current?.querySelector("textarea");
    if (area !== null && area !== undefined) goToPlace(area, line ?? 1, column ?? 1);
  };
  return (
    <div class="plan-page" ref={page}>
      <PlanHead
        file={file}
        isUnsaved={unsaved}
        canSave={canSave}
        onDiscard={discardDraft}
        onSave={() => setSaving(true)}
      />
      <div class="plan-news" role="status">
        <PlanMistakes answer={answer} onGoTo={goTo} />
        {editing.refusal !== null && <RefusalNote refusal={editing.refusal} />}
        {says !== null && <p class={says.isRefused ? "refusal" : "small"}>{says.text}</p>}
        {isSaved && !unsaved && (
          <p>
            {isPractice.value ? "Kept until this practice site is taken down." : "Saved."}{" "}
            <a href={hrefTo("run")}>Run with this plan</a>
          </p>
        )}
        {unsaved && !mayOperate.value && <p class="small soft">You may look and try, but not save.</p>}
      </div>
      {isSaving && unsaved && (
        <SavePlan file={file} canSave={canSave} onSaved={() => setSaved(true)} onCancel={() => setSaving(false)} />
      )}
      <section aria-label="Map" class="plan-map">
        {drawn !== null && (
          <>
            <PlanMap
              {...drawn}
              isStale={isStale}
              question={shown}
              selection={selection}
              onSelect={editing.select}
              onMove={(node, from, to) => correct({ kind: "move", node, to, ...(from === null ? {} : { from }) })}
            />
            <p class="small soft">
              Point at a place to correct it. Drag it to another place to hang it there, or choose both from the lists.
            </p>
            {drawn.rests.links.some((rests) => rests !== null) && <RestsKey />}
          </>
        )}
      </section>
      <div class="plan-side">
        <DrawFromSite
          plan={answer?.kind === "plan" && (plan.value !== null || draft.value !== null) ? file : null}
          mayDraw={isOn && mayOperate.value}
          onDrawn={({ text }) => {
            editing.write(text);
            editing.select(null);
            setAsked(null);
          }}
        />
        <PlanQuestions
          questions={questions}
          shown={asked}
          isBusy={isBusy}
          onShow={({ text, about: [first] }) => {
            setAsked(text);
            if (first !== undefined) editing.select({ node: first, on: "node" });
          }}
          onAnswered={({ text }) => correct({ kind: "answer", question: text })}
        />
        {drawn !== null && (
          <label class="field">
            <span>Node to correct</span>
            <select
              value={selection === null ? "" : planPlace(selection.node)}
              onChange={({ currentTarget: { value } }) =>
                editing.select(value === "" ? null : { node: value, on: "node" })
              }
            >
              <option value="">none chosen</option>
              {drawn.drawing.nodes.map(({ name }) => (
                <option key={name} value={name}>
                  {name}
                </option>
              ))}
            </select>
          </label>
        )}
        {drawn !== null && selection !== null && (
          <PlanCorrector
            key={planPlace(selection.node)}
            {...drawn}
            node={planPlace(selection.node)}
            isStale={isStale}
            isBusy={isBusy}
            onEdit={correct}
          />
        )}
      </div>
      <section aria-labelledby="plan-text" class="plan-text">
        <h2 id="plan-text">As text</h2>
        <CodeEditor
          text={file.text}
          mistakes={answer?.kind === "mistakes" ? answer.mistakes : []}
          label="Site plan in YAML"
          onChange={(text) => editing.write(text, true)}
        />
        {isPractice.value && (
          <p class="small soft">
            This practice site stays as it was built. A plan saved here is what runs are compared with; to build another
            site, start <code>dyetrace practice up</code> with it.
          </p>
        )}
      </section>
      {answer?.kind === "plan" && (
        <section class="plan-coverage" aria-label="What the agents can tell apart">
          <PlanCoverageNote coverage={answer.coverage} />
        </section>
      )}
    </div>
  );
}

/** Ctrl+Z and Ctrl+Shift+Z, but where letters are typed: there the browser's own are meant. */
function useUndoKeys(): void {
  useEffect(() => {
    const onKey = (event: KeyboardEvent): void => {
      const isTyping = event.target instanceof HTMLElement && event.target.matches("input, textarea");
      if (isTyping || !(event.ctrlKey || event.metaKey)) return;
      const key = event.key.toLowerCase();
      if (key !== "z" && key !== "y") return;
      event.preventDefault();
      if (key === "y" || event.shiftKey) redoDraft();
      else undoDraft();
    };
    addEventListener("keydown", onKey);
    return () => removeEventListener("keydown", onKey);
  }, []);
}
