import { parentPort } from "node:worker_threads";
import type { PlanAnswer } from "@dyetrace/wire/console/plan-answer";
import type { RunAnswer } from "@dyetrace/wire/console/run-forecast";
import { answerPlan } from "./console-plan.ts";
import type { PlanJob, PlanQuestion, PlanReply } from "./plan-job.ts";
import { answerRun } from "./run-forecast.ts";

/** The thread of `PlanDesk`: one question after the other. */
const answerTo = (job: PlanJob): PlanAnswer | RunAnswer =>
  job.kind === "plan" ? answerPlan(job.text) : answerRun(job.request, new Set(job.connected), job.isLive);

parentPort?.on("message", ({ id, job }: PlanQuestion) => {
  let reply: PlanReply;
  try {
    reply = { id, answer: answerTo(job) };
  } catch (error) {
    reply = { id, failure: String(error) };
  }
  parentPort?.postMessage(reply);
});
