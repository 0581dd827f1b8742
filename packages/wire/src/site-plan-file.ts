import Type, { type Static } from "@dyetrace/schema";

/**
 * A radio: of an access point with what it does to group frames, of a host with the mode in which it is sent to.
 * What goes together is checked in @dyetrace/site.
 */
export const SitePlanRadioSchema = Type.Object(
  {
    band: Type.Optional(
      Type.Union([Type.Literal("2.4 GHz"), Type.Literal("5 GHz"), Type.Literal("6 GHz")], {
        description: "2.4 GHz, 5 GHz or 6 GHz",
      }),
    ),
    /** Access points of one band with the same channel share its air. */
    channel: Type.Optional(Type.Integer({ minimum: 1, maximum: 233, description: "a channel's number, 1 to 233" })),
    "multicast-rate": Type.Optional(Type.String({ description: "a rate such as 12 Mbit/s" })),
    encrypted: Type.Optional(Type.Boolean()),
    /** Whether it sends group frames as unicast, a copy to each station that has joined. */
    conversion: Type.Optional(Type.Boolean()),
    /** Beacons from one delivery of group frames to the next, where a station sleeps. */
    dtim: Type.Optional(Type.Integer({ minimum: 1, maximum: 255, description: "a whole number, 1 to 255" })),
    standard: Type.Optional(
      Type.Union(
        [
          Type.Literal("a"),
          Type.Literal("b"),
          Type.Literal("g"),
          Type.Literal("n"),
          Type.Literal("ac"),
          Type.Literal("ax"),
        ],
        { description: "a, b, g, n, ac or ax" },
      ),
    ),
    /** Of a, b and g; the others have an MCS. */
    rate: Type.Optional(Type.String({ description: "a rate such as 54 Mbit/s" })),
    "channel-width": Type.Optional(
      Type.Union([Type.Literal("20 MHz"), Type.Literal("40 MHz"), Type.Literal("80 MHz"), Type.Literal("160 MHz")], {
        description: "20 MHz, 40 MHz, 80 MHz or 160 MHz",
      }),
    ),
    mcs: Type.Optional(Type.Integer({ minimum: 0, maximum: 31, description: "a whole number, 0 to 31" })),
    streams: Type.Optional(Type.Integer({ minimum: 1, maximum: 8, description: "a whole number, 1 to 8" })),
    "guard-interval": Type.Optional(Type.String({ description: "a time such as 800 ns" })),
    /** Frames in one A-MPDU. */
    aggregate: Type.Optional(Type.Integer({ minimum: 1, maximum: 64, description: "a whole number, 1 to 64" })),
  },
  { additionalProperties: false, description: "keys such as { multicast-rate: 12 Mbit/s, standard: ac, mcs: 7 }" },
);
export type SitePlanRadio = Static<typeof SitePlanRadioSchema>;

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
    /** The same as one entry of `addresses`. */
    address: Type.Optional(Type.String({ description: "an IPv4 or IPv6 address" })),
    addresses: Type.Optional(
      Type.Array(Type.String({ description: "an IPv4 or IPv6 address" }), {
        description: "a list of addresses, one for each subnet, such as [192.0.2.1, 2001:db8::1]",
      }),
    ),
    /** How long it keeps a membership that nobody renews, where that is set by hand and not by the querier's figures. */
    "membership-time": Type.Optional(Type.String({ description: "a time such as 260 s" })),
    /** Access points only: by them it is told which one a station is at. */
    bssid: Type.Optional(
      Type.Union(
        [
          Type.String({ description: "a BSSID such as 02:00:5e:10:00:01" }),
          Type.Array(Type.String({ description: "a BSSID such as 02:00:5e:10:00:01" }), { minItems: 1, maxItems: 64 }),
        ],
        { description: "a BSSID such as 02:00:5e:10:00:01, or a list of them" },
      ),
    ),
    radio: Type.Optional(SitePlanRadioSchema),
    /** Where a switch, router or access point is asked for its tables. */
    management: Type.Optional(Type.String({ description: "an IPv4 or IPv6 address" })),
    /** False: on a practice site whose switches talk, this one keeps silent. */
    announces: Type.Optional(Type.Boolean()),
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

const VlanSchema = Type.Integer({ minimum: 1, maximum: 4094, description: "a VLAN's number, 1 to 4094" });

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
        /** One on the link to a host; a list on a trunk, absent for all of the plan's. */
        vlan: Type.Optional(
          Type.Union([VlanSchema, Type.Array(VlanSchema, { minItems: 1 })], {
            description: "a VLAN's number such as 10, or a list of them such as [10, 20]",
          }),
        ),
        /** What the router at its end counts for a route over it; 1 if absent. */
        cost: Type.Optional(Type.Integer({ minimum: 1, maximum: 65_535, description: "a whole number, 1 to 65535" })),
        /** Spanning tree keeps this link as a spare: nothing crosses it. */
        blocked: Type.Optional(Type.Boolean()),
      },
      { additionalProperties: false },
    ),
  ],
  {
    description: "a link such as `core:1 -- hall:24` or { between: [core:1, hall:24], speed: 1 Gbit/s }",
  },
);
export type SitePlanLink = Static<typeof SitePlanLinkSchema>;

export const SitePlanVlanSchema = Type.Object(
  {
    name: Type.Optional(
      Type.String({ minLength: 1, maxLength: 80, description: "the VLAN's name, 80 characters at most" }),
    ),
    ipv4: Type.Optional(Type.String({ description: "a subnet such as 192.0.2.0/24" })),
    ipv6: Type.Optional(Type.String({ description: "a subnet such as 2001:db8:10::/64" })),
    querier: Type.Optional(Type.String({ description: "the name of the node that queries in this VLAN" })),
  },
  { additionalProperties: false, description: "keys such as { ipv4: 192.0.2.0/24 }" },
);
export type SitePlanVlan = Static<typeof SitePlanVlanSchema>;

export const SitePlanFileSchema = Type.Object(
  {
    site: Type.String({
      minLength: 1,
      maxLength: 80,
      description: "the site's name, 80 characters at most",
    }),
    vlans: Type.Optional(
      Type.Record(Type.String(), SitePlanVlanSchema, {
        description: "VLAN numbers with what is known of each, such as 10: { ipv4: 192.0.2.0/24 }",
      }),
    ),
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
