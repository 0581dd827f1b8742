import Type from "@dyetrace/schema";
import { KeptHeadersSchema } from "@dyetrace/wire/capture/kept-headers-schema";
import type { FastifyInstance } from "fastify";
import type { AuditLog } from "../audit/audit-log.ts";
import type { Store } from "../store/store.ts";
import { stored } from "../store/stored.ts";
import { noteTaken } from "./note-taken.ts";

const AnswerSchema = Type.Union([KeptHeadersSchema, Type.Null()]);

/** `GET /api/runs/:id/headers`: what the agents kept of a run's packets. Who takes them stands in the trail. */
export function registerHeaderRoutes(app: FastifyInstance, store: Store, audit: AuditLog): void {
  app.get<{ Params: { id: string } }>(
    "/api/runs/:id/headers",
    {
      schema: {
        summary: "Headers that agents kept of a run; null where none are kept",
        response: { 200: AnswerSchema },
      },
    },
    (request) =>
      stored(store, async () => {
        const { runId } = await store.runs.get(request.params.id);
        const headers = await store.captures.find(runId);
        if (headers !== null) {
          noteTaken(audit, request, runId);
        }
        return headers;
      }),
  );
}
