import type { FastifyInstance } from "fastify";
import { VERSION } from "../version.ts";
import type { AgentRegistry } from "./agent-registry.ts";

export function registerAgentRoutes(app: FastifyInstance, registry: AgentRegistry): void {
  app.get("/api/status", () => ({
    program: "dyetrace",
    version: VERSION,
    agents: registry.list().length,
  }));
  app.get("/api/agents", () =>
    registry.list().map(({ name, version, capabilities }) => ({
      name,
      version,
      capabilities,
    })),
  );
}
