import type { ConsoleScenario } from "@dyetrace/wire/console/console-scenario";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { Awaited } from "../parts/awaited.tsx";
import { ParameterForm } from "../parts/parameter-form.tsx";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { ScheduleTimes } from "../schedule/schedule-times.tsx";
import { link, plan } from "../state/console-state.ts";
import { hrefAlong } from "../state/route.ts";
import { runDraft } from "../state/run-draft.ts";
import { CheckedRequest } from "./checked-request.tsx";
import { hasLength, missingOf, requestOf, timedRequest, valuesOf } from "./draft-request.ts";

/** Choose a scenario, set it, see what it would do. */
export function RunComposer() {
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
  const timed = request === null ? null : timedRequest(request, shipped, Date.now());
  if (plan.value === null) {
    return (
      <p class="empty">
        A run needs a site plan: where the agents are and what lies between them.{" "}
        <a href={hrefAlong("plan")}>Write or paste one first.</a>
      </p>
    );
  }
  return (
    <div class="composer">
      <section aria-labelledby="choose">
        <h2 id="choose">What to run</h2>
        {refusal !== null && <RefusalNote refusal={refusal} />}
        {scenarios === null && refusal === null && <Awaited what="the scenarios" />}
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
        <ScheduleTimes hasLength={hasLength(shipped)} wrong={timed?.wrong ?? null} note={timed?.note ?? null} />
        <label class="insist">
          <input
            type="checkbox"
            checked={draft.keepsHeaders}
            onChange={(event) => {
              runDraft.value = { ...draft, keepsHeaders: event.currentTarget.checked };
            }}
          />
          <span>
            Keep the headers of its packets at every agent, for the evidence archive.{" "}
            <span class="small soft">Of payload, only the head of test packets is kept.</span>
          </span>
        </label>
        {missing.length > 0 ? (
          <p class="soft">Still to be set: {missing.join(", ")}.</p>
        ) : (
          timed !== null && timed.request !== null && <CheckedRequest request={timed.request} />
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
