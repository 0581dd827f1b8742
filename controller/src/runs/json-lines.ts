import type { TSchema } from "@dyetrace/schema";

/** Content type of an answer that goes on: one JSON object a line. */
export const JSON_LINES = "application/x-ndjson";

/** Such an answer as a route declares it. @param schema of one line */
export const linesOf = (schema: TSchema): object => ({
  200: { description: "A JSON object a line", content: { [JSON_LINES]: { schema } } },
});

/** An answer that is a file of this content type. */
export const fileOf = (type: string, description: string): object => ({
  200: { description, content: { [type]: { schema: { type: "string", format: "binary" } } } },
});
