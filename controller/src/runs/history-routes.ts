import Type, { type Static } from "@dyetrace/schema";
import { DoneSchema } from "@dyetrace/wire/console/done";
import { MatrixSchema, TrendsSchema } from "@dyetrace/wire/console/run-history";
import {
  BaselineSchema,
  type MarkChange,
  MarkChangeSchema,
  RunIdSchema,
  RunQuerySchema,
  RunSummarySchema,
} from "@dyetrace/wire/console/stored-run";
import type { FastifyInstance } from "fastify";
import { readMatrix, readTrends } from "../history/read-trends.ts";
import type { Store } from "../store/store.ts";
import { stored } from "../store/stored.ts";

const NamedSchema = Type.Object(
  { runId: Type.String({ maxLength: 64 }) },
  { additionalProperties: false, description: "Body of a baseline: the run that bears the name." },
);

const words = Type.Optional(Type.String({ maxLength: 200 }));
const TrendQuerySchema = Type.Object({ ...RunQuerySchema.properties, figure: words, stream: words, listener: words });

/** What is kept: names, notes and tags of runs, and their removal. */
export function registerHistoryRoutes(app: FastifyInstance, store: Store): void {
  app.patch<{ Params: { id: string }; Body: MarkChange }>(
    "/api/runs/:id",
    {
      schema: {
        summary: "Changes a run's note and tags",
        body: MarkChangeSchema,
        response: { 200: RunSummarySchema },
      },
    },
    ({ params: { id }, body }) =>
      stored(store, async () => {
        await store.labels.change(id, body);
        return store.runs.summary(id);
      }),
  );
  app.delete<{ Params: { id: string } }>(
    "/api/runs/:id",
    { schema: { summary: "Deletes a run that is over, with all its reports", response: { 200: DoneSchema } } },
    ({ params: { id } }) =>
      stored(store, async () => {
        await store.runs.remove(id);
        return {};
      }),
  );
  app.get<{ Querystring: Static<typeof TrendQuerySchema> }>(
    "/api/history/trends",
    {
      schema: {
        summary: "Every figure over runs, the newest 20 unless told otherwise",
        querystring: TrendQuerySchema,
        response: { 200: TrendsSchema },
      },
    },
    ({ query }) => stored(store, () => readTrends(store, query)),
  );
  app.get<{ Params: { id: string } }>(
    "/api/runs/:id/matrix",
    { schema: { summary: "Every listener of a run against every stream", response: { 200: MatrixSchema } } },
    ({ params: { id } }) => stored(store, () => readMatrix(store, id)),
  );
  app.get(
    "/api/baselines",
    { schema: { summary: "Names of runs, by name", response: { 200: Type.Array(BaselineSchema) } } },
    () => stored(store, () => store.labels.baselines()),
  );
  app.get<{ Params: { name: string } }>(
    "/api/baselines/:name",
    { schema: { summary: "The run that bears a name", response: { 200: RunIdSchema } } },
    (request) => stored(store, async () => ({ runId: await store.labels.baseline(request.params.name) })),
  );
  app.put<{ Params: { name: string }; Body: Static<typeof NamedSchema> }>(
    "/api/baselines/:name",
    { schema: { summary: "Names a finished run", body: NamedSchema, response: { 200: RunIdSchema } } },
    (request) =>
      stored(store, async () => {
        await store.labels.nameBaseline(request.params.name, request.body.runId);
        return { runId: request.body.runId };
      }),
  );
  app.delete<{ Params: { name: string } }>(
    "/api/baselines/:name",
    { schema: { summary: "Takes a name from its run, which stays", response: { 200: DoneSchema } } },
    (request) =>
      stored(store, async () => {
        await store.labels.removeBaseline(request.params.name);
        return {};
      }),
  );
}
