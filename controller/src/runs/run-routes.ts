import { Readable } from "node:stream";
import Type from "@dyetrace/schema";
import {
  Fault,
  NightSchema,
  type RunProgress,
  RunProgressSchema,
  type RunRequest,
  RunRequestSchema,
  RunStorySchema,
} from "@dyetrace/wire";
import { DoneSchema, StoppedSchema } from "@dyetrace/wire/console/done";
import { DiskNeedSchema } from "@dyetrace/wire/console/run-forecast";
import {
  RunIdSchema,
  type RunQuery,
  RunQuerySchema,
  RunRecordSchema,
  RunSummarySchema,
} from "@dyetrace/wire/console/stored-run";
import type { FastifyInstance, FastifyRequest } from "fastify";
import { THIS_MACHINE } from "../access/operator-guard.ts";
import { summariseNight } from "../night/morning/night-summary.ts";
import type { Retention } from "../store/retention.ts";
import { stored } from "../store/stored.ts";
import { JSON_LINES, linesOf } from "./json-lines.ts";
import type { RunSchedule } from "./run-schedule.ts";
import { type RunSurroundings, runNeed, scheduleRun, startRun } from "./start-run.ts";
import type { RunStops } from "./stop-runs.ts";

/** Each may keep a report waiting that nobody reads. */
const MOST_FOLLOWERS = 256;
/** Whoever may operate can always stop, however much was asked for before. */
const NEVER_TOO_MANY = { rateLimit: false } as const;

export function registerRunRoutes(
  app: FastifyInstance,
  surroundings: RunSurroundings,
  schedule: RunSchedule,
  retention: Retention,
  stops: RunStops,
): void {
  const { runs, store } = surroundings;
  let followers = 0;
  app.post<{ Body: RunRequest }>(
    "/api/runs",
    {
      schema: { summary: "Starts a run, or schedules it", body: RunRequestSchema, response: { 202: RunIdSchema } },
    },
    async (request, reply) => {
      const { startAt } = request.body;
      if (startAt === undefined) return reply.status(202).send({ runId: await startRun(request.body, surroundings) });
      const record = await stored(store, () => scheduleRun(request.body, startAt, surroundings));
      schedule.arm(record);
      return reply.status(202).send({ runId: record.runId });
    },
  );
  app.post<{ Body: RunRequest }>(
    "/api/runs/need",
    {
      schema: { summary: "What a run would take on disk", body: RunRequestSchema, response: { 200: DiskNeedSchema } },
    },
    (request) => runNeed(request.body, surroundings, retention),
  );
  app.get<{ Querystring: RunQuery }>(
    "/api/runs",
    {
      schema: {
        summary: "Stored runs, newest first",
        querystring: RunQuerySchema,
        response: { 200: Type.Array(RunSummarySchema) },
      },
    },
    ({ query }) => stored(store, () => store.runs.list(query)),
  );
  app.get<{ Params: { id: string } }>(
    "/api/runs/:id",
    { schema: { summary: "A run with its report", response: { 200: RunRecordSchema } } },
    (request) => stored(store, () => store.runs.get(request.params.id)),
  );
  app.get<{ Params: { id: string } }>(
    "/api/runs/:id/night",
    {
      schema: {
        summary: "What happened, so far or in all, in a form that is read in a minute",
        response: { 200: NightSchema },
      },
    },
    (request) => stored(store, async () => summariseNight(store, await store.runs.get(request.params.id), Date.now())),
  );
  app.get<{ Params: { id: string } }>(
    "/api/runs/:id/story",
    {
      schema: {
        summary: "Who asked, answered and left, when the data came and went, and which timer ran",
        response: { 200: RunStorySchema },
      },
    },
    (request) => surroundings.stories.story(request.params.id),
  );
  app.post<{ Params: { id: string } }>(
    "/api/runs/:id/abort",
    {
      config: NEVER_TOO_MANY,
      schema: { summary: "Stops a run, or cancels a scheduled one", response: { 202: DoneSchema } },
    },
    async (request, reply) => {
      await stops.stopRun(request.params.id, whoAsks(request));
      return reply.status(202).send({});
    },
  );
  app.post(
    "/api/stop",
    {
      config: NEVER_TOO_MANY,
      schema: {
        summary: "Stops every source of every agent, whatever run it belongs to",
        response: { 202: StoppedSchema },
      },
    },
    (request, reply) => {
      return reply.status(202).send({ agents: [...stops.stopAll(whoAsks(request))] });
    },
  );
  app.get<{ Params: { id: string } }>(
    "/api/runs/:id/progress",
    { schema: { summary: "How a run goes, a JSON object a line", response: linesOf(RunProgressSchema) } },
    (request, reply) => {
      runs.find(request.params.id); // an unknown run is answered before the stream begins
      if (followers >= MOST_FOLLOWERS) {
        throw new Fault("TOO_MANY", `${MOST_FOLLOWERS} are following runs already`, "Ask for the run itself");
      }
      followers++;
      const gone = new AbortController();
      reply.raw.once("close", () => {
        followers--;
        gone.abort();
      });
      const lines = Readable.from(asLines(runs.follow(request.params.id, gone.signal)));
      return reply.header("content-type", JSON_LINES).send(lines);
    },
  );
}

/** Where nobody signs in, only this machine is let in. */
const whoAsks = ({ operator }: FastifyRequest): string =>
  operator === null || operator === THIS_MACHINE ? "somebody at the controller's machine" : operator.name;

async function* asLines(progress: AsyncIterable<RunProgress>): AsyncGenerator<string> {
  for await (const item of progress) yield `${JSON.stringify(item)}\n`;
}
