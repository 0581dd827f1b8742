import { parentPort } from "node:worker_threads";
import { loadSitePlan } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import type { PlanAnswer } from "@dyetrace/wire/console/plan-answer";
import type { ProbeOffer } from "@dyetrace/wire/console/probe-offer";
import type { RunAnswer } from "@dyetrace/wire/console/run-forecast";
import { offerProbe } from "../probe/offer-probe.ts";
import { answerPlan } from "./console-plan.ts";
import type { PlanJob, PlanQuestion, PlanReply } from "./plan-job.ts";
import { answerRun } from "./run-forecast.ts";

/** The thread of `PlanDesk`: one question after the other. */
function answerTo(job: PlanJob): PlanAnswer | RunAnswer | ProbeOffer {
  switch (job.kind) {
    case "plan":
      return answerPlan(job.text);
    case "run":
      return answerRun(job.request, new Set(job.connected), job.isLive);
    case "probe":
      return offerProbe({ ...job, graph: loadSitePlan(job.request.site.text, job.request.site.file) });
  }
}

/** An error that crosses to another thread keeps no class. */
function failureOf(id: number, error: unknown): PlanReply {
  if (!(error instanceof Fault)) return { id, failure: String(error) };
  const { code, message, hint } = error;
  return { id, fault: { code, message, hint } };
}

parentPort?.on("message", ({ id, job }: PlanQuestion) => {
  let reply: PlanReply;
  try {
    reply = { id, answer: answerTo(job) };
  } catch (error) {
    reply = failureOf(id, error);
  }
  parentPort?.postMessage(reply);
});
