import { NightSchema, RunReportSchema, RunStorySchema } from "@dyetrace/wire";

/** The published JSON Schema (draft 7) of the report that `--json` writes. */
export const reportSchemaDocument = (): string =>
  `${JSON.stringify({ $schema: "http://json-schema.org/draft-07/schema#", ...RunReportSchema }, null, 2)}\n`;

/** The same of the story that `story --json` writes. */
export const storySchemaDocument = (): string =>
  `${JSON.stringify({ $schema: "http://json-schema.org/draft-07/schema#", ...RunStorySchema }, null, 2)}\n`;

/** The same of the night that `report --summary --json` writes. */
export const nightSchemaDocument = (): string =>
  `${JSON.stringify({ $schema: "http://json-schema.org/draft-07/schema#", ...NightSchema }, null, 2)}\n`;
