import swagger from "@fastify/swagger";
import type { FastifyContextConfig, FastifyInstance, FastifySchema } from "fastify";
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
      components: {
        securitySchemes: {
          token: { type: "http", scheme: "bearer", description: "Made with `dyetrace token add` or POST /api/tokens" },
          signIn: { type: "http", scheme: "bearer", description: "The token of POST /api/sign-in" },
          session: {
            type: "apiKey",
            in: "cookie",
            name: "__Host-dyetrace-session",
            description: "A browser's; changes also bear the form token of GET /api/session in x-dyetrace-form",
          },
        },
      },
      security: [{ token: [] }, { signIn: [] }, { session: [] }],
    },
    transform: ({ schema, url, route }) => ({ schema: { ...schema, ...securityOf(route.config) }, url }),
  });
  // Answers are described, not rewritten: fast-json-stringify would drop what a schema forgot, and is slower than
  // JSON.stringify at unions. A test holds what the routes answer against what they declare.
  app.setSerializerCompiler(() => JSON.stringify);
  app.get("/api/openapi.json", { schema: { hide: true } }, () => app.swagger());
}

/** Of a route that differs from the rest: nobody need say who they are, or a token does not do. */
function securityOf(config: FastifyContextConfig | undefined): Pick<FastifySchema, "security"> {
  if (config?.needs === "nobody") return { security: [] };
  return config?.isForPeople === true ? { security: [{ signIn: [] }, { session: [] }] } : {};
}
