import { Readable } from "node:stream";
import { type RunProgress, type RunRequest, RunRequestSchema } from "@dyetrace/wire";
import type { FastifyInstance } from "fastify";
import { startRun } from "../engine/start-run.ts";
import type { AgentRegistry } from "./agent-registry.ts";
import type { RunDesk, RunRecord } from "./run-desk.ts";

export function registerRunRoutes(app: FastifyInstance, registry: AgentRegistry, runs: RunDesk): void {
  app.post<{ Body: RunRequest }>("/api/runs", { schema: { body: RunRequestSchema } }, async (request, reply) => {
    const runId = startRun(request.body, registry, runs);
    return reply.status(202).send({ runId });
  });
  app.get("/api/runs", () => runs.list().map(summary));
  app.get<{ Params: { id: string } }>("/api/runs/:id", (request) => {
    const run = runs.find(request.params.id);
    return { ...summary(run), report: run.report };
  });
  app.post<{ Params: { id: string } }>("/api/runs/:id/abort", async (request, reply) => {
    runs.abort(request.params.id);
    return reply.status(202).send({});
  });
  app.get<{ Params: { id: string } }>("/api/runs/:id/progress", (request, reply) => {
    runs.find(request.params.id); // an unknown run is answered before the stream begins
    const gone = new AbortController();
    reply.raw.once("close", () => gone.abort());
    const lines = Readable.from(asLines(runs.follow(request.params.id, gone.signal)));
    return reply.header("content-type", "application/x-ndjson").send(lines);
  });
}

async function* asLines(progress: AsyncIterable<RunProgress>): AsyncGenerator<string> {
  for await (const item of progress) yield `${JSON.stringify(item)}\n`;
}

const summary = (run: RunRecord): object => ({
  runId: run.id,
  isRunning: run.isRunning,
  verdict: run.report?.verdict ?? null,
  scenario: run.report?.scenario ?? null,
  site: run.report?.site ?? null,
  startedAt: run.report?.startedAt ?? null,
});
