import type { FastifyInstance } from "fastify";
import type { Logger } from "pino";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { Store } from "../store/store.ts";
import { registerInventoryRoutes } from "./inventory-routes.ts";
import { LookDesk } from "./look-desk.ts";

/** Whoever asks over HTTP has the agents look, and reads what they saw. @returns what ends a look that is under way */
export function openInventories(app: FastifyInstance, registry: AgentRegistry, store: Store, log: Logger): Disposable {
  const desk = new LookDesk(registry, store, log);
  registerInventoryRoutes(app, desk, store);
  return desk;
}
