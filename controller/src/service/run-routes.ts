import { Readable } from "node:stream";
import { type RunProgress, type RunRequest, RunRequestSchema } from "@dyetrace/wire";
import type { FastifyInstance } from "fastify";
import Type, { type Static } from "typebox";
import { type RunSurroundings, runNeed, scheduleRun, startRun } from "../engine/start-run.ts";
import { summariseNight } from "../soak/night-summary.ts";
import type { Retention } from "../soak/retention.ts";
import type { RunSchedule } from "../soak/run-schedule.ts";
import type { Store } from "../store/store.ts";

const ListQuerySchema = Type.Object({ most: Type.Optional(Type.Integer({ minimum: 1, maximum: 10_000 })) });
const BaselineSchema = Type.Object(
  { runId: Type.String({ maxLength: 64 }) },
  { additionalProperties: false, description: "Body of a baseline: the run that bears the name." },
);

export function registerRunRoutes(
  app: FastifyInstance,
  surroundings: RunSurroundings,
  schedule: RunSchedule,
  retention: Retention,
): void {
  const { runs, store } = surroundings;
  app.post<{ Body: RunRequest }>("/api/runs", { schema: { body: RunRequestSchema } }, async (request, reply) => {
    const { startAt } = request.body;
    if (startAt === undefined) return reply.status(202).send({ runId: startRun(request.body, surroundings) });
    const record = await stored(store, () => scheduleRun(request.body, Date.parse(startAt), surroundings));
    schedule.arm(record);
    return reply.status(202).send({ runId: record.runId });
  });
  app.post<{ Body: RunRequest }>("/api/runs/need", { schema: { body: RunRequestSchema } }, (request) =>
    runNeed(request.body, surroundings, retention),
  );
  app.get<{ Querystring: Static<typeof ListQuerySchema> }>(
    "/api/runs",
    { schema: { querystring: ListQuerySchema } },
    (request) => stored(store, () => store.runs.list(request.query.most ?? 50)),
  );
  app.get<{ Params: { id: string } }>("/api/runs/:id", (request) =>
    stored(store, () => store.runs.get(request.params.id)),
  );
  app.get<{ Params: { id: string } }>("/api/runs/:id/night", (request) =>
    stored(store, async () => summariseNight(store, await store.runs.get(request.params.id), Date.now())),
  );
  app.post<{ Params: { id: string } }>("/api/runs/:id/abort", async (request, reply) => {
    const { id } = request.params;
    if (schedule.cancel(id)) {
      const failure = { code: "RUN_CANCELLED", message: "It was cancelled before its time", hint: "" };
      await stored(store, () => store.runs.failed(id, failure));
    } else runs.abort(id);
    return reply.status(202).send({});
  });
  app.get<{ Params: { id: string } }>("/api/runs/:id/progress", (request, reply) => {
    runs.find(request.params.id); // an unknown run is answered before the stream begins
    const gone = new AbortController();
    reply.raw.once("close", () => gone.abort());
    const lines = Readable.from(asLines(runs.follow(request.params.id, gone.signal)));
    return reply.header("content-type", "application/x-ndjson").send(lines);
  });
  app.get<{ Params: { name: string } }>("/api/baselines/:name", (request) =>
    stored(store, async () => ({ runId: await store.runs.baseline(request.params.name) })),
  );
  app.put<{ Params: { name: string }; Body: Static<typeof BaselineSchema> }>(
    "/api/baselines/:name",
    { schema: { body: BaselineSchema } },
    (request) =>
      stored(store, async () => {
        await store.runs.nameBaseline(request.params.name, request.body.runId);
        return { name: request.params.name, runId: request.body.runId };
      }),
  );
}

/** @throws {Fault} a failure of the store in the operator's terms */
async function stored<T>(store: Store, read: () => Promise<T>): Promise<T> {
  try {
    return await read();
  } catch (error) {
    throw store.fault(error);
  }
}

async function* asLines(progress: AsyncIterable<RunProgress>): AsyncGenerator<string> {
  for await (const item of progress) yield `${JSON.stringify(item)}\n`;
}
