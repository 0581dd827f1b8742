import { Readable } from "node:stream";
import Type, { type Static } from "@dyetrace/schema";
import { AuditCheckSchema, AuditEntrySchema } from "@dyetrace/wire/console/console-session";
import type { FastifyInstance } from "fastify";
import type { AuditLog } from "./audit-log.ts";

const QuerySchema = Type.Object({ most: Type.Optional(Type.Integer({ minimum: 1, maximum: 1000 })) });

/** It is kept, not shown. */
const ANY_FILE = "application/octet-stream";
const EXPORT = {
  description: "A JSON object a line",
  content: { [ANY_FILE]: { schema: { type: "string", format: "binary" } } },
};

/** `GET /api/audit`, its check and its export. */
export function registerAudit(app: FastifyInstance, audit: AuditLog): void {
  app.get<{ Querystring: Static<typeof QuerySchema> }>(
    "/api/audit",
    {
      schema: {
        summary: "Who did what, newest first",
        querystring: QuerySchema,
        response: { 200: Type.Array(AuditEntrySchema) },
      },
    },
    (request) => audit.list(request.query.most ?? 200),
  );
  const few = { rateLimit: { max: 10, timeWindow: "1 minute" } }; // each reads up to 40 MB
  app.get(
    "/api/audit/check",
    {
      config: few,
      schema: { summary: "Whether an entry was changed or taken out", response: { 200: AuditCheckSchema } },
    },
    () => audit.check(),
  );
  app.get(
    "/api/audit/export",
    { config: few, schema: { summary: "All entries with their hashes", response: { 200: EXPORT } } },
    (_request, reply) =>
      reply
        .header("content-disposition", 'attachment; filename="dyetrace-audit.jsonl"')
        .type(ANY_FILE)
        .send(Readable.from(endLines(audit.lines()))),
  );
}

function* endLines(lines: Iterable<string>): Generator<string> {
  for (const line of lines) yield `${line}\n`;
}
