import swagger from "@fastify/swagger";
import type { FastifyInstance } from "fastify";
import { VERSION } from "../about/version.ts";

/** Describes every route that is registered after this, at /api/openapi.json. */
export async function registerOpenApi(app: FastifyInstance): Promise<void> {
  await app.register(swagger, {
    openapi: {
      openapi: "3.1.0",
      info: {
        title: "dyetrace controller",
        version: VERSION,
        description: "Runs, their reports and the agents that carry them out. Unknown is null, never 0.",
      },
    },
  });
  app.get("/api/openapi.json", { schema: { hide: true } }, () => app.swagger());
}
