import type { RunRequest } from "@dyetrace/wire";
import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import type { ConsoleScenario } from "@dyetrace/wire/console/console-scenario";
import type { RunAnswer } from "@dyetrace/wire/console/run-forecast";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { summariseLive } from "../live/summarise-live.ts";
import { ConfirmLoad } from "../parts/confirm-load.tsx";
import { DiskNeed } from "../parts/disk-need.tsx";
import { Forecast } from "../parts/forecast.tsx";
import { formatMs } from "../parts/format.ts";
import { ParameterForm } from "../parts/parameter-form.tsx";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { RunTimeline } from "../parts/run-timeline.tsx";
import { history, isRunning, link, liveVersion, plan, run } from "../state/console-state.ts";
import { goTo, hrefTo } from "../state/route.ts";
import { useRunTimeMs } from "../state/run-clock.ts";
import { runDraft } from "../state/run-draft.ts";

/** Put a run together and start it; while one goes on, watch and stop it. */
export function RunPage() {
  const current = run.value;
  return isRunning.value && current !== null ? <RunUnderWay run={current} /> : <RunComposer />;
}

function RunUnderWay({ run: current }: { readonly run: ConsoleRun }) {
  const nowMs = useRunTimeMs(100);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [isStopping, setStopping] = useState(false);
  useEffect(() => setStopping(false), [current.runId]);
  const stop = (): void => {
    setStopping(true);
    askController(`/api/runs/${current.runId}/abort`, { method: "POST" }).catch((error: unknown) => {
      setStopping(false);
      setRefusal(asRefusal(error));
    });
  };
  const lastsMs = current.lastsMs ?? lastOf(current);
  const secondsLeft = current.lastsMs === null || nowMs === null ? null : Math.max(0, (current.lastsMs - nowMs) / 1000);
  return (
    <div class="under-way">
      <div class="under-way-head">
        <div>
          <h2 class="verdict">
            {current.stage === "running" ? current.outline.scenario : `${current.outline.scenario} …`}
          </h2>
          <p class="soft" role="status">
            {current.stage === "preparing" && (current.steps.at(-1) ?? "Preparing the agents")}
            {current.stage === "running" && secondsLeft !== null && `${Math.ceil(secondsLeft)} s to go`}
            {current.stage === "running" &&
              current.next !== null &&
              `. Next, in ${formatMs(Math.max(0, current.next.inMs))}: ${current.next.what}`}
            {current.stage === "concluding" && "Working out what happened where"}
          </p>
        </div>
        <button type="button" class="press stop" onClick={stop} disabled={isStopping || current.stage === "concluding"}>
          {isStopping ? "Stopping all sources …" : "Stop all sources"}
        </button>
      </div>
      {refusal !== null && <RefusalNote refusal={refusal} />}
      <RunTimeline outline={current.outline} lastsMs={lastsMs} nowMs={nowMs} />
      <div class="under-way-rest">
        {current.stage === "running" && <Standing run={current} />}
        <section>
          <h3>Steps</h3>
          <ol class="steps">
            {current.steps.map((step, index) => (
              <li key={index}>{step}</li>
            ))}
          </ol>
        </section>
        <p>
          See the dye <a href={hrefTo("map")}>on the map</a>, or <a href={hrefTo("live")}>second by second</a>.
        </p>
      </div>
    </div>
  );
}

/** How many listeners get what, as of the newest second. */
function Standing({ run: current }: { readonly run: ConsoleRun }) {
  liveVersion.value; // read so that it is said again with every batch
  const agents = current.drawing.nodes.flatMap(({ agent }) => agent ?? []);
  return (
    <p>
      <b>Now:</b> {summariseLive(current, agents, history, false).sentence}
    </p>
  );
}

/** Before the controller has said how long: as far as the outline goes. */
const lastOf = ({ outline }: ConsoleRun): number =>
  Math.max(1000, ...outline.streams.flatMap(({ emits }) => emits.map(({ toMs }) => toMs)));

function RunComposer() {
  const [scenarios, setScenarios] = useState<readonly ConsoleScenario[] | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const isOn = link.value.kind === "on";
  useEffect(() => {
    if (!isOn) return;
    askController<readonly ConsoleScenario[]>("/api/console/scenarios").then(setScenarios, (error: unknown) =>
      setRefusal(asRefusal(error)),
    );
  }, [isOn]);
  const draft = runDraft.value;
  const shipped = scenarios?.find(({ text }) => text.file === draft.shipped) ?? null;
  const request = requestOf(shipped);
  const missing = missingOf(shipped);
  if (plan.value === null) {
    return (
      <p class="empty">
        A run needs a site plan: where the agents are and what lies between them.{" "}
        <a href={hrefTo("plan")}>Write or paste one first.</a>
      </p>
    );
  }
  return (
    <div class="composer">
      <section aria-labelledby="choose">
        <h2 id="choose">What to pour</h2>
        {refusal !== null && <RefusalNote refusal={refusal} />}
        <fieldset class="choices">
          <legend class="hidden-name">Scenario</legend>
          {scenarios?.map(({ text, name, about }) => (
            <Choice
              key={text.file}
              name={name}
              about={about}
              isChosen={draft.shipped === text.file}
              onChoose={() => {
                runDraft.value = { ...draft, shipped: text.file };
              }}
            />
          ))}
          <Choice
            name="one of your own"
            about="Write or paste a scenario file."
            isChosen={draft.shipped === null}
            onChoose={() => {
              runDraft.value = {
                ...draft,
                shipped: null,
                own: draft.own.text === "" && shipped !== null ? shipped.text : draft.own,
              };
            }}
          />
        </fieldset>
      </section>
      <section aria-labelledby="settings" class="settings">
        <h2 id="settings">{shipped === null ? "Your scenario" : "Settings"}</h2>
        {shipped === null ? (
          <label class="field">
            <span>Scenario file (YAML)</span>
            <textarea
              rows={22}
              spellcheck={false}
              class="code"
              value={draft.own.text}
              onInput={(event) => {
                runDraft.value = { ...draft, own: { ...draft.own, text: event.currentTarget.value } };
              }}
            />
          </label>
        ) : (
          <ParameterForm
            scenario={shipped}
            values={valuesOf(shipped)}
            onChange={(values) => {
              runDraft.value = { ...draft, values: { ...draft.values, [shipped.text.file]: values } };
            }}
          />
        )}
      </section>
      <section aria-labelledby="forecast" class="forecast">
        <h2 id="forecast">What it will do</h2>
        {missing.length > 0 ? (
          <p class="soft">Still to be set: {missing.join(", ")}.</p>
        ) : (
          request !== null && <Checked request={request} />
        )}
      </section>
    </div>
  );
}

function Choice(props: {
  readonly name: string;
  readonly about: string;
  readonly isChosen: boolean;
  readonly onChoose: () => void;
}) {
  return (
    <label class={`choice${props.isChosen ? " is-chosen" : ""}`}>
      <input type="radio" name="scenario" checked={props.isChosen} onChange={props.onChoose} />
      <span>
        <b>{props.name}</b>
        <span class="small soft">{props.about}</span>
      </span>
    </label>
  );
}

function requestOf(shipped: ConsoleScenario | null): RunRequest | null {
  const draft = runDraft.value;
  const site = plan.value?.text;
  if (site === undefined) return null;
  if (shipped === null) return draft.own.text.trim() === "" ? null : { site, scenario: draft.own };
  const set = Object.entries(valuesOf(shipped)).filter(([, value]) => value.trim() !== "");
  return { site, scenario: shipped.text, parameters: Object.fromEntries(set) };
}

/** What the form holds; a source that nobody has chosen yet is the plan's first agent. */
function valuesOf(shipped: ConsoleScenario): Readonly<Record<string, string>> {
  const firstAgent = plan.value?.drawing.nodes.find(({ agent }) => agent !== null)?.agent ?? "";
  const presumed = shipped.parameters
    .filter(({ takes, value, name }) => takes === "agent" && value === null && name === "source")
    .map(({ name }) => [name, firstAgent]);
  return { ...Object.fromEntries(presumed), ...runDraft.value.values[shipped.text.file] };
}

const missingOf = (shipped: ConsoleScenario | null): readonly string[] =>
  shipped === null
    ? []
    : shipped.parameters.flatMap(({ name, value }) =>
        value === null && (valuesOf(shipped)[name] ?? "").trim() === "" ? [name] : [],
      );

/** Time without a keystroke before the controller is asked. */
const SETTLED_MS = 250;

/** The controller's own forecast of the request, and the button that starts it. */
function Checked({ request }: { readonly request: RunRequest }) {
  const [answer, setAnswer] = useState<RunAnswer | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [confirmation, setConfirmation] = useState("");
  const [despite, setDespite] = useState<readonly ("traffic" | "advice")[]>([]);
  const isOn = link.value.kind === "on";
  const key = JSON.stringify(request);
  useEffect(() => {
    if (!isOn) return;
    const gone = new AbortController();
    const timer = setTimeout(() => {
      askController<RunAnswer>("/api/console/run-check", { method: "POST", body: request, signal: gone.signal }).then(
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
  }, [key, isOn]);
  const start = (): void => {
    setRefusal(null);
    const body = {
      ...request,
      ...(despite.length === 0 ? {} : { despite }),
      ...(confirmation === "" ? {} : { confirmation }),
    };
    askController("/api/runs", { method: "POST", body }).then(
      () => goTo("map"),
      (error: unknown) => setRefusal(asRefusal(error)),
    );
  };
  const asked = answer?.kind === "run" ? answer.forecast.confirmation : null;
  const isReady =
    isOn &&
    answer?.kind === "run" &&
    answer.forecast.missing.length === 0 &&
    (asked === null || confirmation.trim() === asked);
  return (
    <>
      {answer?.kind === "mistakes" && (
        <ul class="mistakes">
          {answer.mistakes.map((mistake) => (
            <li key={mistake.message}>
              {answer.of === "site" ? "Site plan" : "Scenario"}
              {mistake.line === null ? "" : `, line ${mistake.line}`}: {mistake.message}.{" "}
              <span class="soft">{mistake.hint}</span>
            </li>
          ))}
        </ul>
      )}
      {refusal !== null && (
        <>
          <RefusalNote refusal={refusal} />
          {(refusal.code === "GROUP_UNFIT" || refusal.code === "GROUP_IN_USE") && (
            <label class="insist">
              <input
                type="checkbox"
                checked={despite.includes(refusal.code === "GROUP_UNFIT" ? "advice" : "traffic")}
                onChange={(event) => {
                  const what = refusal.code === "GROUP_UNFIT" ? "advice" : "traffic";
                  setDespite(event.currentTarget.checked ? [...despite, what] : despite.filter((one) => one !== what));
                }}
              />
              I know what uses this group, and it may be disturbed
            </label>
          )}
        </>
      )}
      {asked !== null && <ConfirmLoad words={asked} said={confirmation} onSay={setConfirmation} />}
      <button type="button" class="press pours" disabled={!isReady} onClick={start}>
        Start the run
      </button>
      {answer?.kind === "run" && (
        <>
          <Forecast forecast={answer.forecast} />
          <DiskNeed request={request} lastsMs={answer.forecast.lastsMs} />
        </>
      )}
    </>
  );
}
