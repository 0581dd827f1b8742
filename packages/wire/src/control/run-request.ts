import Type, { type Static } from "@dyetrace/schema";

/** A file as the user has it: mistakes in it are told with the user's own file name and lines. */
export const UserFileSchema = Type.Object(
  { file: Type.String({ maxLength: 4096 }), text: Type.String({ maxLength: 1_048_576 }) },
  { additionalProperties: false },
);
export type UserFile = Static<typeof UserFileSchema>;

/** Body of `POST /api/runs`. */
export const RunRequestSchema = Type.Object(
  {
    scenario: UserFileSchema,
    site: UserFileSchema,
    /** Scenario parameters, as `--set name=value` gives them. */
    parameters: Type.Optional(
      Type.Record(Type.String({ maxLength: 64 }), Type.String({ maxLength: 4096 }), { maxProperties: 100 }),
    ),
    /** When to start, as RFC 3339 writes instants; at once without it. */
    startAt: Type.Optional(Type.String({ maxLength: 64 })),
    /** How long after that it may begin at the latest; a quarter of an hour where it is not said. */
    startWithinMs: Type.Optional(Type.Integer({ minimum: 1000, maximum: 86_400_000 })),
    /** What shall not stop the run: traffic that is on its groups already, or advice not to use them. */
    despite: Type.Optional(Type.Array(Type.Union([Type.Literal("traffic"), Type.Literal("advice")]), { maxItems: 2 })),
    /** What whoever starts it says about the load on its heaviest segment; asked for where it is high. */
    confirmation: Type.Optional(Type.String({ maxLength: 500 })),
    /** Whether agents keep headers of its packets, for an evidence pack; only where it is asked for. */
    keepsHeaders: Type.Optional(Type.Boolean()),
    /** Whether bursts of test packets may follow the run where other traffic hides it from devices' counters; only where it is asked for. */
    bursts: Type.Optional(Type.Boolean()),
    /** Set where the run is a probe: the run, and the place in its report's list of the finding whose suspects it shall part. */
    probeOf: Type.Optional(
      Type.Object(
        { run: Type.String({ maxLength: 64 }), finding: Type.Integer({ minimum: 0, maximum: 100_000 }) },
        { additionalProperties: false },
      ),
    ),
  },
  { additionalProperties: false },
);
export type RunRequest = Static<typeof RunRequestSchema>;
