import { formatMs } from "@dyetrace/picture";
import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import { useEffect, useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { summariseLive } from "../live/summarise-live.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { RunTimeline } from "../parts/run-timeline.tsx";
import { history, liveVersion } from "../state/console-state.ts";
import { hrefTo } from "../state/route.ts";
import { runTimeMs, useRunTimeMs } from "../state/run-clock.ts";

/** What the run does now, how long it still takes, and the button that stops it. */
export function RunUnderWay({ run: current }: { readonly run: ConsoleRun }) {
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
          {isStopping ? "Stopping this run …" : "Stop this run"}
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
          See the dye <a href={hrefTo("map", current.runId)}>on the map</a>, or{" "}
          <a href={hrefTo("live", current.runId)}>second by second</a>.
        </p>
      </div>
    </div>
  );
}

/** How many listeners get what, as of the newest second. */
function Standing({ run: current }: { readonly run: ConsoleRun }) {
  liveVersion.value; // read so that it is said again with every batch
  const second = Math.floor((runTimeMs() ?? 0) / 1000);
  const agents = current.drawing.nodes.flatMap(({ agent }) => agent ?? []);
  return (
    <p>
      <b>Now:</b> {summariseLive(current, agents, history, { kind: "now", second }).sentence}
    </p>
  );
}

/** Before the controller has said how long: as far as the outline goes. */
const lastOf = ({ outline }: ConsoleRun): number =>
  Math.max(1000, ...outline.streams.flatMap(({ emits }) => emits.map(({ toMs }) => toMs)));
