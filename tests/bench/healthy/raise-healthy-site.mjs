import { ControllerClient, raisePractice } from "@dyetrace/controller";
import { loadSitePlan } from "@dyetrace/site";

/** As in tests/field/support/quick-timers.ts. */
const QUICK_TIMERS = {
  queryIntervalMs: 2_000,
  queryResponseIntervalMs: 500,
  membershipIntervalMs: 4_500,
  otherQuerierIntervalMs: 4_250,
};

/** A practice site with its controller and agents; the caller disposes of it. */
export async function raiseHealthySite({ plan }, log) {
  const graph = loadSitePlan(plan, "plan.yaml");
  const listen = { host: "127.0.0.1", port: 0 };
  const practice = await raisePractice({ graph, listen, timers: QUICK_TIMERS, log });
  const client = new ControllerClient(practice.controller.url);
  return {
    run: (text, parameters, signal) => runOnce(client, { plan, text, parameters }, signal),
    [Symbol.asyncDispose]: () => practice[Symbol.asyncDispose](),
  };
}

async function runOnce(client, { plan, text, parameters }, signal) {
  const runId = await client.startRun({
    scenario: { file: "scenario.yaml", text },
    site: { file: "plan.yaml", text: plan },
    parameters,
    despite: [],
  });
  for await (const progress of client.followRun(runId)) {
    if (progress.kind === "done") return progress.report;
    if (progress.kind === "failed") throw new Error(`${progress.code}: ${progress.message}. ${progress.hint}`);
    if (signal.aborted) throw new Error("lasted too long");
  }
  throw new Error("The controller ended the run's progress without a report");
}
