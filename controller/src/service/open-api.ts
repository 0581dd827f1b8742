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
  // Answers are described, not rewritten: fast-json-stringify would drop what a schema forgot, and is slower than
  // JSON.stringify at unions. A test holds what the routes answer against what they declare.
  app.setSerializerCompiler(() => JSON.stringify);
  app.get("/api/openapi.json", { schema: { hide: true } }, () => app.swagger());
}
