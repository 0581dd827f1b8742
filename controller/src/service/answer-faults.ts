import { Fault, type FaultCode } from "@dyetrace/wire";
import type { FastifyInstance } from "fastify";
import type { Logger } from "pino";

/** HTTP status of our own failures; 400 for the others, which are the request's. */
const STATUS: Partial<Record<Fault["code"], number>> = {
  RUN_UNKNOWN: 404,
  BASELINE_UNKNOWN: 404,
  INVENTORY_UNKNOWN: 404,
  DEVICE_UNKNOWN: 404,
  RUN_BUSY: 409,
  RUN_UNFINISHED: 409,
  PLAN_CHANGED: 409,
  AGENT_MISSING: 404,
  NOT_SIGNED_IN: 401,
  NOT_AUTHORISED: 403,
  NOT_ALLOWED: 403,
  TOO_MANY: 429,
  STORE_UNREACHABLE: 503,
  STORE_BUSY: 503,
  STORE_FULL: 507,
  STORE_READ_ONLY: 503,
  STORE_CORRUPT: 503,
};

/** A failure is answered with its code, sentence and hint; what is none of our own is logged as well. */
export function answerFaults(app: FastifyInstance, log: Logger): void {
  app.setErrorHandler((error, _request, reply) => {
    if (error instanceof Fault) {
      const status = STATUS[error.code] ?? 400;
      const { code, message, hint, place } = error;
      return reply.status(status).send({ code, message, hint, place: place ?? null });
    }
    const statusCode = (error as { statusCode?: number }).statusCode ?? 500;
    if (statusCode >= 500) log.error({ err: error }, "request failed");
    const code: FaultCode = statusCode === 429 ? "TOO_MANY" : statusCode < 500 ? "MESSAGE_INVALID" : "INTERNAL";
    return reply.status(statusCode).send({ code, message: (error as Error).message, hint: "" });
  });
}
