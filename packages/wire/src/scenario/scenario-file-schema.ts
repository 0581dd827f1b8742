import Type, { type Static } from "@dyetrace/schema";
import { TEST_PACKET_MAX_BYTES, TEST_PACKET_MIN_BYTES } from "../packet/test-packet.ts";

/** The shape of a scenario file once its `$parameters` are filled in. `loadScenario` checks what its names refer to. */
const duration = Type.String({ description: "a duration such as 30s" });
const rate = Type.String({ description: "a rate such as 4 Mbit/s" });
const payload = Type.String({
  description: `a size such as 1316 B (${TEST_PACKET_MIN_BYTES} B to ${TEST_PACKET_MAX_BYTES} B)`,
});
const share = Type.String({ description: "a share such as 0.01 %" });
const flag = Type.Boolean();

const streamNames = Type.Union(
  [
    Type.String(),
    Type.Array(Type.String({ description: "a stream's name" }), {
      minItems: 1,
    }),
  ],
  {
    description: "a stream's name, a list of them, or `all`",
  },
);
const agentNames = Type.Union(
  [
    Type.String(),
    Type.Array(Type.String({ description: "an agent's name" }), {
      minItems: 1,
    }),
  ],
  {
    description: "a list of agents, or `all`",
  },
);

const wholeNumber = (minimum: number, maximum: number) =>
  Type.Integer({
    minimum,
    maximum,
    description: `a whole number from ${minimum} to ${maximum}`,
  });

export const ScenarioStreamSchema = Type.Object(
  {
    name: Type.String({
      pattern: "^[A-Za-z0-9._-]{1,40}$",
      description: "1 to 40 letters, digits, `.`, `_` or `-`",
    }),
    source: Type.Optional(Type.String({ minLength: 1, description: "an agent's name" })),
    group: Type.String({ description: "a group address such as 239.195.10.4" }),
    port: Type.Optional(wholeNumber(1, 65_535)),
    rate: Type.Optional(rate),
    payload: Type.Optional(payload),
    ttl: Type.Optional(wholeNumber(1, 255)),
    dscp: Type.Optional(wholeNumber(0, 63)),
    burst: Type.Optional(wholeNumber(1, 1024)),
    ssm: Type.Optional(flag),
    copies: Type.Optional(wholeNumber(1, 1024)),
    /** Slow unicast to every listener beside the stream: 10 packets/s. */
    companion: Type.Optional(flag),
    /** True: somebody else's stream, which is followed and never sent. */
    production: Type.Optional(Type.Literal(true, { description: "true, or nothing" })),
    from: Type.Optional(
      Type.String({
        minLength: 1,
        maxLength: 64,
        description: "a node of the site plan, the sender's address, or any",
      }),
    ),
    format: Type.Optional(
      Type.Union([Type.Literal("rtp"), Type.Literal("mpeg-ts"), Type.Literal("any"), Type.Literal("look")], {
        description: "rtp, mpeg-ts, any, or look for what it is",
      }),
    ),
  },
  {
    additionalProperties: false,
    description: "a stream with name, source, group and rate, or one with name, production, group and port",
  },
);

export const ScenarioEntrySchema = Type.Object(
  {
    at: Type.Optional(duration),
    after: Type.Optional(duration),
    emit: Type.Optional(streamNames),
    stop: Type.Optional(streamNames),
    join: Type.Optional(streamNames),
    leave: Type.Optional(streamNames),
    /** Of a stream of others: nobody joins, and what comes to those that joined anyway is followed. */
    watch: Type.Optional(streamNames),
    set: Type.Optional(streamNames),
    agents: Type.Optional(agentNames),
    rate: Type.Optional(rate),
    payload: Type.Optional(payload),
    /** With several streams: one after the other, this far apart. */
    stagger: Type.Optional(duration),
    repeat: Type.Optional(
      Type.Object(
        { every: duration, times: wholeNumber(1, 10_000) },
        {
          additionalProperties: false,
          description: "keys such as { every: 5s, times: 10 }",
        },
      ),
    ),
  },
  {
    additionalProperties: false,
    description: "an entry such as { at: 2s, join: board, agents: [kiosk-1] }",
  },
);

export const ScenarioExpectSchema = Type.Object(
  {
    loss: Type.Optional(share),
    "longest-gap": Type.Optional(duration),
    jitter: Type.Optional(duration),
    "join-delay": Type.Optional(duration),
    "leave-delay": Type.Optional(duration),
    duplicates: Type.Optional(share),
    reordered: Type.Optional(share),
    leaks: Type.Optional(Type.Union([Type.Literal("none"), Type.Literal("any")])),
    /** What is lost this soon after a stream starts, or after a join, does not count: routers build their trees. */
    "warm-up": Type.Optional(duration),
  },
  {
    additionalProperties: false,
    description: "limits such as { loss: 0.01 % }",
  },
);

const scalar = Type.Union([Type.String(), Type.Number(), Type.Boolean()]);

export const ScenarioFileSchema = Type.Object(
  {
    scenario: Type.String({
      minLength: 1,
      maxLength: 80,
      description: "the scenario's name, 80 characters at most",
    }),
    about: Type.Optional(Type.String({ description: "one sentence" })),
    /** How long sources go on without a word from the controller. */
    hold: Type.Optional(duration),
    parameters: Type.Optional(
      Type.Record(Type.String(), Type.Union([scalar, Type.Array(scalar), Type.Null()]), {
        description: "names with default values such as { hold: 30s }",
      }),
    ),
    streams: Type.Array(ScenarioStreamSchema, {
      minItems: 1,
      description: "a list of streams",
    }),
    timeline: Type.Array(ScenarioEntrySchema, {
      minItems: 1,
      description: "a list of entries",
    }),
    expect: Type.Optional(ScenarioExpectSchema),
    /** True: bursts of test packets may follow the run where other traffic hides it from devices' counters. */
    bursts: Type.Optional(flag),
  },
  { additionalProperties: false },
);
export type ScenarioFile = Static<typeof ScenarioFileSchema>;
export type ScenarioFileStream = Static<typeof ScenarioStreamSchema>;
export type ScenarioFileEntry = Static<typeof ScenarioEntrySchema>;
