import type { UserFile } from "@dyetrace/wire";
import type { PlanAnswer, PlanCoverage } from "@dyetrace/wire/console/plan-answer";
import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import { signal } from "@preact/signals";
import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import type { FindingMark } from "../map/finding-marks.ts";
import { SiteMap } from "../map/site-map.tsx";
import type { MapSelection } from "../map/site-map-props.ts";
import { graphOf, headOf, planScene } from "../map/site-scene.ts";
import { hangUp } from "../map/site-tree.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { CodeEditor, goToPlace } from "../plan/code-editor.tsx";
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

/** Time without a keystroke before the controller is asked. */
const SETTLED_MS = 200;

/** Write or paste a plan: mistakes at their lines, the map at once, and what its agents can tell apart. */
export function PlanPage() {
  const file = draft.value ?? plan.value?.text ?? EXAMPLE;
  const { answer, refusal } = usePlanCheck(file);
  const [drawing, setDrawing] = useState<PlanDrawing | null>(plan.value?.drawing ?? null);
  const [saved, setSaved] = useState<{ readonly says: string } | { readonly refusal: Refusal } | null>(null);
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
  return (
    <div class="plan-page" ref={page}>
      <section aria-labelledby="plan-text" class="plan-text">
        <div class="plan-head">
          <h2 id="plan-text">Site plan</h2>
          <span class="soft small">{file.file}</span>
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
            This practice site stays as it was built. A plan saved here is what runs are held against; to build another
            site, start <code>dyetrace practice up</code> with it.
          </p>
        )}
      </section>
      <section aria-label="Map and coverage" class="plan-map">
        {drawing !== null && <PlanMap drawing={drawing} isStale={mistakes.length > 0} />}
        {answer?.kind === "plan" && <Coverage coverage={answer.coverage} />}
      </section>
    </div>
  );
}

function usePlanCheck(file: UserFile): { readonly answer: PlanAnswer | null; readonly refusal: Refusal | null } {
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

const NO_MARKS: readonly FindingMark[] = [];

function PlanMap({ drawing, isStale }: { readonly drawing: PlanDrawing; readonly isStale: boolean }) {
  const graph = useMemo(() => graphOf(drawing), [drawing]);
  const [selection, setSelection] = useState<MapSelection | null>(null);
  const tree = useMemo(() => {
    const head = headOf(graph, null);
    return head === null ? null : hangUp(graph, head);
  }, [graph]);
  const scene = useMemo(() => (tree === null ? null : planScene(tree)), [tree]);
  if (tree === null || scene === null) return null;
  return (
    <div class={isStale ? "is-stale" : undefined}>
      {isStale && <p class="small">The map is of the last plan without mistakes.</p>}
      <SiteMap
        name={`Map of ${graph.name}`}
        tree={tree}
        channels={scene.channels}
        hosts={scene.hosts}
        marks={NO_MARKS}
        rateBps={() => null}
        isMoving={false}
        selection={selection}
        onSelect={setSelection}
      />
    </div>
  );
}

const MOST_SETS = 6;

function Coverage({ coverage }: { readonly coverage: PlanCoverage }) {
  const { ambiguousSets, untested, nextAgentAt, separableRatio, source, querier } = coverage;
  return (
    <div class="coverage">
      <h2>What {coverage.agents} agents can tell apart</h2>
      <p>
        {separableRatio === null
          ? "There are no two places to tell apart."
          : `Of all pairs of places where one fault may sit, ${Math.round(separableRatio * 100)} in 100 would look different`}
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
          : `${querier.node} is ${querier.isAssumed ? "taken to be" : ""} the querier.`}
      </p>
    </div>
  );
}

const fileNameOf = ({ file }: UserFile): string => file.split("/").at(-1) ?? "site-plan.yaml";
const downloadOf = ({ text }: UserFile): string => `data:application/yaml;charset=utf-8,${encodeURIComponent(text)}`;
