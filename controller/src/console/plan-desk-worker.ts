import { parentPort } from "node:worker_threads";
import { editPlan, loadSitePlan } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import type { PlanAnswer } from "@dyetrace/wire/console/plan-answer";
import type { DrawnPlan } from "@dyetrace/wire/console/plan-draw";
import type { EditAnswer, PlanToEdit } from "@dyetrace/wire/console/plan-edit";
import type { ProbeOffer } from "@dyetrace/wire/console/probe-offer";
import type { RunAnswer } from "@dyetrace/wire/console/run-forecast";
import { offerProbe } from "../probe/offer-probe.ts";
import { answerPlan } from "./console-plan.ts";
import { drawObserved } from "./draw-observed.ts";
import type { PlanJob, PlanQuestion, PlanReply } from "./plan-job.ts";
import { answerRun } from "./run-forecast.ts";

/** The thread of `PlanDesk`: one question after the other. */
function answerTo(job: PlanJob): PlanAnswer | RunAnswer | ProbeOffer | EditAnswer | DrawnPlan {
  switch (job.kind) {
    case "plan":
      return answerPlan(job.text);
    case "edit":
      return answerEdit(job.toEdit);
    case "draw":
      return drawObserved(job.observations, job.site, job.updates);
    case "run":
      return answerRun(job.request, new Set(job.connected), job.isLive);
    case "probe":
      return offerProbe({ ...job, graph: loadSitePlan(job.request.site.text, job.request.site.file) });
  }
}

function answerEdit({ plan, edit }: PlanToEdit): EditAnswer {
  const edited = editPlan(plan.text, edit);
  if ("says" in edited) return { kind: "refused", says: edited.says };
  return { kind: "edited", text: edited.text, answer: answerPlan({ file: plan.file, text: edited.text }) };
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
