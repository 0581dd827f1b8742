import Type from "@dyetrace/schema";
import { AgentSurroundingsSchema } from "@dyetrace/wire/surroundings/surroundings-schema";
import type { FastifyInstance } from "fastify";
import type { AgentRegistry } from "../agents/agent-registry.ts";

/** `GET /api/surroundings`: what connected agents hear and know of the network around them. Nothing is sent to learn it. */
export function registerSurroundingsRoutes(app: FastifyInstance, registry: AgentRegistry): void {
  app.get(
    "/api/surroundings",
    {
      schema: {
        summary: "What the agents' neighbours announce, with the agents' own addresses and gateways",
        response: { 200: Type.Array(AgentSurroundingsSchema) },
      },
    },
    () =>
      registry.list().flatMap(({ name: agent }) => {
        const known = registry.surroundings.get(agent);
        if (known === undefined) return [];
        return [{ agent, toldAgoMs: Math.max(0, Date.now() - known.atMs), surroundings: known.surroundings }];
      }),
  );
}
