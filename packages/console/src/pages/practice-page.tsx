import type { PracticeAnswer, StandingFaults } from "@dyetrace/wire/console/practice-faults";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { Awaited } from "../parts/awaited.tsx";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { NewFault } from "../practice/new-fault.tsx";
import { OwnFaults } from "../practice/own-faults.tsx";
import { isPractice, link } from "../state/console-state.ts";
import { hrefTo } from "../state/route.ts";
import { mayOperate } from "../state/session.ts";

/** Faults of the practice site: what each does, put in and taken out while it stands. */
export function PracticePage() {
  const [practice, setPractice] = useState<PracticeAnswer | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [isBusy, setBusy] = useState(false);
  const isOn = link.value.kind === "on";
  const load = (): void => {
    askController<PracticeAnswer>("/api/practice").then(setPractice, (error: unknown) => setRefusal(asRefusal(error)));
  };
  useEffect(() => {
    if (isOn && isPractice.value) load();
  }, [isOn, isPractice.value]);
  if (!isPractice.value) {
    return (
      <p class="empty">
        This controller works on a real site, which no fault is put into. <code>npx dyetrace practice up PLAN</code>{" "}
        raises a practice site on one machine, with a console of its own.
      </p>
    );
  }
  if (practice === null) {
    return refusal !== null ? <RefusalNote refusal={refusal} /> : <Awaited what="the faults" />;
  }
  const change = (path: string, method: "POST" | "DELETE", body?: object): void => {
    setBusy(true);
    setRefusal(null);
    askController<StandingFaults>(path, { method, ...(body === undefined ? {} : { body }) })
      .then(
        ({ standing, hidden }) => setPractice({ ...practice, standing, hidden }),
        (error: unknown) => setRefusal(asRefusal(error)),
      )
      .finally(() => setBusy(false));
  };
  const put = (text: string): void => change("/api/practice/faults", "POST", { file: "faults.yaml", text });
  const isFree = mayOperate.value && isOn;
  return (
    <div class="practice-page">
      <section aria-labelledby="standing">
        <h2 id="standing">
          {practice.standing.length === 0
            ? practice.hidden === 0
              ? "No fault stands"
              : "No fault is shown"
            : practice.standing.length === 1
              ? "1 fault stands"
              : `${practice.standing.length} faults stand`}
        </h2>
        {practice.hidden > 0 && (
          <p>
            {practice.hidden === 1 ? "1 fault stands hidden" : `${practice.hidden} faults stand hidden`}, to be found.{" "}
            <code>npx dyetrace practice faults reveal</code> says which.
          </p>
        )}
        <ul class="standing-faults">
          {practice.standing.map((one) => (
            <li key={one.number}>
              <p>
                <b>{one.fault}</b> on <code>{one.on}</code>
                {one.with !== "" && `: ${one.with}`}
              </p>
              <p class="small soft">{practice.kinds.find(({ fault }) => fault === one.fault)?.does}</p>
              {isFree && (
                <button
                  type="button"
                  class="press small"
                  disabled={isBusy}
                  onClick={() => change(`/api/practice/faults/${one.number}`, "DELETE")}
                >
                  Take {one.fault} out
                </button>
              )}
            </li>
          ))}
        </ul>
        {isFree && practice.standing.length + practice.hidden > 1 && (
          <button
            type="button"
            class="press small"
            disabled={isBusy}
            onClick={() => change("/api/practice/faults", "DELETE")}
          >
            Take all out
          </button>
        )}
        <p class="small soft">
          A change acts at once on the kernel's own bridges. After it, <a href={hrefTo("run")}>start a run</a> and see
          what it finds.
        </p>
      </section>
      <section aria-labelledby="put-in">
        <h2 id="put-in">Put one in</h2>
        {refusal !== null && <RefusalNote refusal={refusal} />}
        {isFree ? (
          <>
            <NewFault kinds={practice.kinds} isBusy={isBusy} onPut={put} />
            <OwnFaults isBusy={isBusy} onPut={put} />
          </>
        ) : (
          <p class="soft">Faults can be changed by whoever may operate, while the controller answers.</p>
        )}
      </section>
    </div>
  );
}
