import { operationIdOf } from "@dyetrace/wire/console/api-routes";
import { RefusalSchema } from "@dyetrace/wire/console/refusal";
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
    },
    transform: ({ schema, url, route }) => ({ schema: describe(schema, url, route), url }),
  });
  // Answers are described, not rewritten: fast-json-stringify would drop what a schema forgot, and is slower than
  // JSON.stringify at unions. A test holds what the routes answer against what they declare.
  app.setSerializerCompiler(() => JSON.stringify);
  app.get("/api/openapi.json", { schema: { hide: true } }, () => app.swagger());
}

interface DescribedRoute {
  readonly method: string | readonly string[];
  readonly config?: FastifyContextConfig;
}

/** A route as the document has it: with an id of its own, who may ask, and what it says where it refuses. */
function describe(schema: FastifySchema | undefined, url: string, { method, config }: DescribedRoute): FastifySchema {
  const operationId = operationIdOf([method].flat()[0] ?? "GET", url);
  const response = { ...(schema?.response as object | undefined), default: REFUSAL };
  return { ...schema, operationId, security: securityOf(config), response };
}

const REFUSAL = {
  description: "Why it was refused, and how to mend it",
  content: { "application/json": { schema: RefusalSchema } },
};

/** Of a route that anybody may ask it is empty; some a program's token does not open. */
function securityOf(config: FastifyContextConfig | undefined): NonNullable<FastifySchema["security"]> {
  if (config?.needs === "nobody") return [];
  const people = [{ signIn: [] }, { session: [] }];
  return config?.isForPeople === true ? people : [{ token: [] }, ...people];
}
