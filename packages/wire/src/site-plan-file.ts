import Type, { type Static } from "typebox";

/** The shape of a site plan file. What its names refer to is checked by `loadSitePlan` in @dyetrace/site. */
export const SitePlanNodeSchema = Type.Object(
  {
    kind: Type.Union(
      [
        Type.Literal("switch"),
        Type.Literal("unmanaged"),
        Type.Literal("router"),
        Type.Literal("access-point"),
        Type.Literal("host"),
      ],
      { description: "switch, unmanaged, router, access-point or host" },
    ),
    querier: Type.Optional(Type.Boolean()),
    agent: Type.Optional(
      Type.String({
        pattern: "^[A-Za-z0-9][A-Za-z0-9._-]{0,62}$",
        description: "an agent's name (letters, digits, `.`, `_`, `-`; 63 at most), or `none`",
      }),
    ),
  },
  { additionalProperties: false, description: "keys such as { kind: switch }" },
);
export type SitePlanNode = Static<typeof SitePlanNodeSchema>;

export const SitePlanLinkSchema = Type.Union(
  [
    Type.String(),
    Type.Object(
      {
        between: Type.Array(Type.String({ description: "a port such as core:1" }), {
          minItems: 2,
          maxItems: 2,
          description: "two ports such as [core:1, hall:24]",
        }),
        speed: Type.Optional(Type.String({ description: "a rate such as 1 Gbit/s" })),
      },
      { additionalProperties: false },
    ),
  ],
  {
    description: "a link such as `core:1 -- hall:24` or { between: [core:1, hall:24], speed: 1 Gbit/s }",
  },
);
export type SitePlanLink = Static<typeof SitePlanLinkSchema>;

export const SitePlanFileSchema = Type.Object(
  {
    site: Type.String({
      minLength: 1,
      maxLength: 80,
      description: "the site's name, 80 characters at most",
    }),
    nodes: Type.Record(Type.String(), SitePlanNodeSchema, {
      description: "node names with their kinds, such as core: { kind: switch }",
    }),
    links: Type.Array(SitePlanLinkSchema, {
      description: "a list of links such as `- core:1 -- hall:24`",
    }),
  },
  { additionalProperties: false },
);
export type SitePlanFile = Static<typeof SitePlanFileSchema>;
