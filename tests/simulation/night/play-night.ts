import { countMinutes } from "../../../controller/src/intake/count-minutes.ts";
import { noteEpisodes } from "../../../controller/src/intake/note-episodes.ts";
import { packCompiledRun } from "../../../controller/src/plan/compiled-run-json.ts";
import type { KeptReport, MinuteCount } from "../../../controller/src/store/pack/kept-report.ts";
import { packBody } from "../../../controller/src/store/pack/pack-body.ts";
import type { Store } from "../../../controller/src/store/store.ts";
import { type NightReport, nightReports } from "./night-reports.ts";
import type { NightScene } from "./night-scene.ts";

const BATCH = 2000;
const MINUTE_S = 60;
const NOTHING = new Uint8Array();
const STARTED_MS = Date.UTC(2026, 0, 1, 21, 30);

/**
 * Puts what the agents of a night report into a store, as the controller's door does.
 * @param isWhole every second with its body; false: what the night's telling reads, no more
 */
export async function storeNight(store: Store, scene: NightScene, isWhole: boolean): Promise<void> {
  const { run, graph, plan, scenario } = scene;
  const request = { site: { file: "plan.yaml", text: plan }, scenario: { file: "night.yaml", text: scenario } };
  const facts = { site: graph.name, scenario: "night", request, endNs: run.endNs, startAtMs: null };
  await store.runs.add({ runId: run.runId, ...facts, programVersion: "simulated", owner: "simulated" });
  await store.runs.started(
    run.runId,
    { wallMs: STARTED_MS, controllerNs: 0, bootId: "simulated" },
    packCompiledRun(run),
  );
  let batch: KeptReport[] = [];
  const keep = async (report: KeptReport): Promise<void> => {
    batch.push(report);
    if (batch.length < BATCH) return;
    await store.reports.keep(batch);
    batch = [];
  };
  for (const agent of ["tower", "office"]) await keep(wholeStint(scene, agent));
  for (const agent of scene.listeners) {
    for (const report of nightReports(scene, agent, isWhole)) await keep(keptReport(scene, report, isWhole));
  }
  await store.reports.keep(batch);
}

function keptReport(
  scene: NightScene,
  { agent, stint, number, isFinal, body }: NightReport,
  isWhole: boolean,
): KeptReport {
  const minutes = isWhole ? countMinutes(body) : isFinal ? minutesOf(scene, agent) : [];
  return {
    runId: scene.run.runId,
    ...{ agent, stint, firstNumber: number, lastNumber: number, droppedReports: 0, mustFollow: false, isFinal },
    ...{ fromNs: body.report.fromNs, toNs: body.report.toNs },
    packed: isWhole ? packBody(body) : NOTHING,
    minutes,
    episodes: noteEpisodes(agent, body),
  };
}

/** A source's agent, of which nothing but its presence is read. */
const wholeStint = ({ run, lengthS }: NightScene, agent: string): KeptReport => ({
  runId: run.runId,
  ...{ agent, stint: "1".padStart(16, "0"), firstNumber: 1, lastNumber: lengthS, droppedReports: 0, mustFollow: false },
  ...{ isFinal: true, fromNs: 0, toNs: lengthS * 1e9, packed: NOTHING, minutes: [], episodes: [] },
});

/** About as much came in each minute as was sent, but where nothing came, or nobody measured, for all of it. */
function minutesOf({ incidents, run, lengthS }: NightScene, agent: string): MinuteCount[] {
  const nothing = incidents.filter(
    ({ kind, listeners, every }) =>
      listeners.includes(agent) && (kind === "away" || (kind === "outage" && every === 1)),
  );
  const isEmpty = (minute: number): boolean =>
    nothing.some(({ fromS, toS }) => fromS <= minute * MINUTE_S && toS >= (minute + 1) * MINUTE_S);
  return Array.from({ length: Math.ceil(lengthS / MINUTE_S) }, (_, minute) => minute)
    .filter((minute) => !isEmpty(minute))
    .flatMap((minute) =>
      run.streams.map(
        ({ streamId, rateBps, payloadBytes }): MinuteCount => ({
          ...{
            streamId,
            minute,
            received: (MINUTE_S * rateBps) / (8 * payloadBytes),
            lost: 0,
            hostLost: 0,
            duplicates: 0,
            reordered: 0,
          },
          ...{ longestGapNs: 0, longestSilenceNs: 0 },
        }),
      ),
    );
}
