import type { FastifyInstance } from "fastify";
import type { Logger } from "pino";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { AuditLog } from "../audit/audit-log.ts";
import type { Store } from "../store/store.ts";
import { registerHeaderRoutes } from "./header-routes.ts";
import { registerInventoryRoutes } from "./inventory-routes.ts";
import { LookDesk } from "./look-desk.ts";
import { registerSurroundingsRoutes } from "./surroundings-routes.ts";

interface Setup {
  readonly registry: AgentRegistry;
  readonly store: Store;
  readonly log: Logger;
  readonly audit: AuditLog;
}

/** Whoever asks over HTTP has the agents look, and reads what they saw and kept. @returns what ends a look that is under way */
export function openSights(app: FastifyInstance, { registry, store, log, audit }: Setup): Disposable {
  const desk = new LookDesk(registry, store, log);
  registerInventoryRoutes(app, desk, store);
  registerHeaderRoutes(app, store, audit);
  registerSurroundingsRoutes(app, registry);
  return desk;
}
