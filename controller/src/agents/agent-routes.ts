import Type from "@dyetrace/schema";
import { ConnectedAgentSchema } from "@dyetrace/wire/console/console-agent";
import type { FastifyInstance } from "fastify";
import { VERSION } from "../about/version.ts";
import type { AgentRegistry } from "./agent-registry.ts";

const StatusSchema = Type.Object({ program: Type.Literal("dyetrace"), version: Type.String() });

export function registerAgentRoutes(app: FastifyInstance, registry: AgentRegistry): void {
  app.get(
    "/api/status",
    { config: { needs: "nobody" }, schema: { summary: "What answers here", response: { 200: StatusSchema } } },
    () => ({
      program: "dyetrace" as const,
      version: VERSION,
    }),
  );
  app.get(
    "/api/agents",
    { schema: { summary: "Agents that are connected", response: { 200: Type.Array(ConnectedAgentSchema) } } },
    () =>
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
