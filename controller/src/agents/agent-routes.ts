import type { FastifyInstance } from "fastify";
import { VERSION } from "../about/version.ts";
import type { AgentRegistry } from "./agent-registry.ts";

export function registerAgentRoutes(app: FastifyInstance, registry: AgentRegistry): void {
  app.get("/api/status", { config: { needs: "nobody" } }, () => ({
    program: "dyetrace",
    version: VERSION,
  }));
  app.get("/api/agents", () =>
    registry.list().map(({ name, version, protocol, capabilities, lacks, allowsUpgrade }) => ({
      name,
      version,
      protocol,
      capabilities,
      lacks,
      allowsUpgrade,
    })),
  );
}
