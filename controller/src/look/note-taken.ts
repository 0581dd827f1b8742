import type { FastifyRequest } from "fastify";
import { type AuditLog, NOBODY } from "../audit/audit-log.ts";

/** Puts down who took the headers that were kept of a run. */
export const noteTaken = (audit: Pick<AuditLog, "note">, request: FastifyRequest, runId: string): void =>
  audit.note(request.operator?.name ?? NOBODY, request.ip, `took the headers that were kept of run ${runId}`);
