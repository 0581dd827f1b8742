import type { MapSelection } from "@dyetrace/picture";
import { planPlace } from "@dyetrace/site";
import type { UserFile } from "@dyetrace/wire";
import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import { signal } from "@preact/signals";
import { useEffect, useRef, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { CodeEditor, goToPlace } from "../plan/code-editor.tsx";
import type { PlanEdit } from "../plan/edit-plan.ts";
import { PlanCorrector } from "../plan/plan-corrector.tsx";
import { PlanCoverageNote } from "../plan/plan-coverage-note.tsx";
import { PlanMap } from "../plan/plan-map.tsx";
import { usePlanCheck } from "../plan/use-plan-check.ts";
import { isPractice, link, plan } from "../state/console-state.ts";

/** What is being written; null shows the controller's own plan. Kept while other pages are looked at. */
const draft = signal<UserFile | null>(null);

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

/** Write or paste a plan: mistakes at their lines, the map at once, and what its agents can tell apart. */
export function PlanPage() {
  const file = draft.value ?? plan.value?.text ?? EXAMPLE;
  const { answer, refusal } = usePlanCheck(file);
  const [drawing, setDrawing] = useState<PlanDrawing | null>(plan.value?.drawing ?? null);
  const [saved, setSaved] = useState<{ readonly says: string } | { readonly refusal: Refusal } | null>(null);
  const [selection, setSelection] = useState<MapSelection | null>(null);
  const [says, setSays] = useState<string | null>(null);
  const page = useRef<HTMLDivElement>(null);
  useEffect(() => {
    if (answer?.kind === "plan") setDrawing(answer.drawing);
  }, [answer]);
  const mistakes = answer?.kind === "mistakes" ? answer.mistakes : [];
  const isChanged = draft.value !== null && draft.value.text !== plan.value?.text.text;
  const isOn = link.value.kind === "on";
  const save = (): void => {
    askController("/api/console/plan", { method: "PUT", body: file }).then(
      () => {
        draft.value = null;
        setSaved({ says: isPractice.value ? "Kept until this practice site is taken down." : "Saved." });
      },
      (error: unknown) => setSaved({ refusal: asRefusal(error) }),
    );
  };
  const select = (next: MapSelection | null): void => {
    setSelection(next);
    setSays(null);
  };
  /** The text is changed as a hand would change it: whoever reads it sees what was done, and can undo it. */
  const correct = async (edit: PlanEdit): Promise<void> => {
    const { editPlan } = await import("../plan/edit-plan.ts");
    const edited = editPlan(file.text, edit);
    if ("says" in edited) {
      setSays(edited.says);
      return;
    }
    draft.value = { file: file.file, text: edited.text };
    select(null);
    setSaved(null);
  };
  return (
    <div class="plan-page" ref={page}>
      <section aria-labelledby="plan-text" class="plan-text">
        <div class="plan-head">
          <h2 id="plan-text">Site plan</h2>
          <span class="soft small file-name" title={file.file}>
            {fileNameOf(file)}
          </span>
          <span class="spacer" />
          <button
            type="button"
            class="press small"
            disabled={!isChanged}
            onClick={() => {
              draft.value = null;
            }}
          >
            Undo all
          </button>
          <a class="press small" download={fileNameOf(file)} href={downloadOf(file)}>
            Download
          </a>
          <button
            type="button"
            class="press small pours"
            disabled={!isOn || answer?.kind !== "plan" || !isChanged}
            onClick={save}
          >
            Save
          </button>
        </div>
        <CodeEditor
          text={file.text}
          mistakes={mistakes}
          label="Site plan in YAML"
          onChange={(text) => {
            draft.value = { file: file.file, text };
            setSaved(null);
          }}
        />
        <div id="editor-mistakes" role="status">
          {mistakes.length > 0 && (
            <ul class="mistakes">
              {mistakes.map((mistake) => (
                <li key={`${mistake.line} ${mistake.message}`}>
                  {mistake.line !== null && (
                    <button
                      type="button"
                      class="as-link"
                      onClick={() => {
                        const area = page.current?.querySelector("textarea");
                        if (area !== null && area !== undefined)
                          goToPlace(area, mistake.line ?? 1, mistake.column ?? 1);
                      }}
                    >
                      Line {mistake.line}
                    </button>
                  )}{" "}
                  {mistake.message}. <span class="soft">{mistake.hint}</span>
                </li>
              ))}
            </ul>
          )}
          {answer?.kind === "plan" && (
            <p class="small soft">
              No mistakes: {answer.drawing.nodes.length} nodes, {answer.drawing.links.length} links.
            </p>
          )}
          {refusal !== null && <RefusalNote refusal={refusal} />}
          {saved !== null &&
            ("says" in saved ? <p class="small">{saved.says}</p> : <RefusalNote refusal={saved.refusal} />)}
        </div>
        {isPractice.value && (
          <p class="small soft">
            This practice site stays as it was built. A plan saved here is what runs are compared with; to build another
            site, start <code>dyetrace practice up</code> with it.
          </p>
        )}
      </section>
      <section aria-label="Map and coverage" class="plan-map">
        {drawing !== null && (
          <PlanMap drawing={drawing} isStale={mistakes.length > 0} selection={selection} onSelect={select} />
        )}
        {drawing !== null && selection !== null && mistakes.length === 0 && (
          <PlanCorrector
            key={selection.node}
            drawing={drawing}
            node={planPlace(selection.node)}
            says={says}
            onEdit={(edit) => void correct(edit)}
          />
        )}
        {selection === null && <p class="small soft">Point at a place on the map to correct it.</p>}
        {answer?.kind === "plan" && <PlanCoverageNote coverage={answer.coverage} />}
      </section>
    </div>
  );
}

const fileNameOf = ({ file }: UserFile): string => file.split("/").at(-1) ?? "site-plan.yaml";
const downloadOf = ({ text }: UserFile): string => `data:application/yaml;charset=utf-8,${encodeURIComponent(text)}`;
