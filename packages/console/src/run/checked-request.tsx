import type { RunRequest } from "@dyetrace/wire";
import type { RunAnswer } from "@dyetrace/wire/console/run-forecast";
import { useState } from "preact/hooks";
import { askController, asRefusal } from "../link/ask-controller.ts";
import { ConfirmLoad } from "../parts/confirm-load.tsx";
import { DiskNeed } from "../parts/disk-need.tsx";
import { Forecast } from "../parts/forecast.tsx";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { startAtOnce } from "../schedule/schedule-draft.ts";
import { link } from "../state/console-state.ts";
import { goTo } from "../state/route.ts";
import { runsChanged } from "../state/run-list.ts";
import { useSettledAnswer } from "../state/use-settled-answer.ts";

/** Time without a keystroke before the controller is asked. */
const SETTLED_MS = 250;

interface CheckedRequestProps {
  readonly request: RunRequest;
  /** What the button says. */
  readonly words?: string;
  /** The steps were told already: only what it needs, what to think of, and what it loads. */
  readonly isBrief?: boolean;
}

/** The controller's own forecast of the request, and the button that starts it. */
export function CheckedRequest({ request, words = "Start the run", isBrief = false }: CheckedRequestProps) {
  const key = JSON.stringify(request);
  const { answer, refusal, setRefusal } = useSettledAnswer<RunAnswer>(
    "/api/console/run-check",
    request,
    key,
    SETTLED_MS,
  );
  const [confirmation, setConfirmation] = useState("");
  const [despite, setDespite] = useState<readonly ("traffic" | "advice")[]>([]);
  const [isScheduled, setScheduled] = useState(false);
  const isOn = link.value.kind === "on";
  const { startAt } = request;
  const start = (): void => {
    setRefusal(null);
    const body = {
      ...request,
      ...(despite.length === 0 ? {} : { despite }),
      ...(confirmation === "" ? {} : { confirmation }),
    };
    askController<{ readonly runId: string }>("/api/runs", { method: "POST", body }).then(
      ({ runId }) => {
        if (startAt === undefined) goTo("map", runId);
        else {
          setScheduled(true);
          startAtOnce();
          runsChanged();
        }
      },
      (error: unknown) => setRefusal(asRefusal(error)),
    );
  };
  const asked = answer?.kind === "run" ? answer.forecast.confirmation : null;
  const isReady =
    isOn &&
    answer?.kind === "run" &&
    (answer.forecast.missing.length === 0 || startAt !== undefined) &&
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
      {isBrief && answer?.kind === "run" && <Forecast forecast={answer.forecast} isBrief={true} />}
      <button type="button" class="press pours" disabled={!isReady} onClick={start}>
        {startAt === undefined ? words : "Schedule the run"}
      </button>
      {isScheduled && (
        <p role="status">It is scheduled. The list at the top of this page says when it starts, and cancels it.</p>
      )}
      {!isBrief && answer?.kind === "run" && (
        <>
          <Forecast forecast={answer.forecast} />
          <DiskNeed request={request} lastsMs={answer.forecast.lastsMs} />
        </>
      )}
    </>
  );
}
