import Type, { type Static, type TProperties } from "@dyetrace/schema";

/**
 * The file that says which faults a practice site shall have. Quantities are text with a unit here; the practice
 * package turns them into numbers and checks the places against the site plan.
 */
const text = (description: string) => Type.String({ minLength: 1, maxLength: 200, description });
const count = (description: string, maximum: number) => Type.Integer({ minimum: 1, maximum, description });

const SEGMENT = "a segment such as core:1>pier-east:24";
const FORWARDER = "the name of a switch, unmanaged switch or access point";
const SNOOPER = "the name of a switch or access point";
const PORT = "a port such as core:1";
const HOST = "the name of a host";
const ROUTER = "the name of a router";
const DURATION = "a duration such as 20s";
const GROUP = "a group address such as 239.195.10.4";

const vlan = Type.Integer({ minimum: 1, maximum: 4094, description: "a VLAN's number, 1 to 4094" });

const one = <const Kind extends string, Parameters extends TProperties>(
  fault: Kind,
  place: string,
  parameters: Parameters,
) =>
  Type.Object(
    {
      fault: Type.Literal(fault),
      on: text(place),
      /** From the start of the run; absent: it stands from the beginning. */
      at: Type.Optional(text(DURATION)),
      /** From the start of the run; absent: it stands to the end. */
      until: Type.Optional(text(DURATION)),
      /** In one VLAN only; absent: in all that the place carries. */
      vlan: Type.Optional(vlan),
      ...parameters,
    },
    { additionalProperties: false },
  );

const share = Type.Optional(text("a share such as 5 %"));
const every = Type.Optional(count("a whole number of packets", 1_000_000));
const group = Type.Optional(text(GROUP));
const host = Type.Optional(text(HOST));

export const PracticeFaultEntrySchema = Type.Union([
  one("drop", `${SEGMENT}, or the name of a node that is no host`, {
    group,
    share,
    every,
    "larger-than": Type.Optional(text("a packet size such as 1400 B")),
  }),
  one("duplicate", SEGMENT, { group, share, every }),
  one("reorder", SEGMENT, {
    group,
    every: count("a whole number of packets", 1_000_000),
    delay: text("a duration such as 20ms"),
  }),
  one("rate-limit", SEGMENT, {
    rate: Type.Optional(text("a rate such as 2 Mbit/s")),
    packets: Type.Optional(count("a whole number of packets per second", 10_000_000)),
    burst: Type.Optional(Type.Union([text("a size such as 16 kB"), count("a whole number of packets", 1_000_000)])),
  }),
  one("snooping-off", SNOOPER, {}),
  one("table-size", SNOOPER, { max: count("the number of groups that fit", 65_536) }),
  one("drop-queries", SEGMENT, {}),
  one("drop-reports", SEGMENT, { host }),
  one("drop-leaves", SEGMENT, { host }),
  one("fast-leave", PORT, {}),
  one("igmp-version", SNOOPER, {
    igmp: Type.Optional(Type.Union([Type.Literal(2), Type.Literal(3)])),
    mld: Type.Optional(Type.Union([Type.Literal(1), Type.Literal(2)])),
  }),
  one("no-querier", "the name of the querier", { silent: Type.Optional(Type.Boolean()) }),
  one("second-querier", FORWARDER, {}),
  one("querier-timers", SNOOPER, {
    "query-interval": Type.Optional(text(DURATION)),
    "response-interval": Type.Optional(text(DURATION)),
    "membership-interval": Type.Optional(text(DURATION)),
    "last-member-interval": Type.Optional(text(DURATION)),
  }),
  one("to-unicast", PORT, {}),
  one("router-port", PORT, { mode: Type.Optional(Type.Union([Type.Literal("always"), Type.Literal("never")])) }),
  one("mtu", PORT, { size: text("a size such as 1000 B") }),
  one("link-down", SEGMENT, {}),
  one("hairpin", PORT, {}),
  one("isolated", PORT, {}),
  one("static-entry", PORT, { group: text(GROUP) }),
  one("host-firewall", HOST, {
    block: Type.Union([Type.Literal("udp"), Type.Literal("igmp")]),
    port: Type.Optional(count("a UDP port", 65_535)),
  }),
  one("reverse-path", "the name of a host or router", { source: text(HOST) }),
  one("vlan-missing", SEGMENT, { vlan }),
  one("not-forwarding", ROUTER, { group: text(GROUP) }),
  one("no-rendezvous-point", ROUTER, {}),
  one("access-list", "a segment into or out of a router", { group, source: host }),
  one("forward-delay", PORT, { hold: text(DURATION) }),
]);
export type PracticeFaultEntry = Static<typeof PracticeFaultEntrySchema>;
export type PracticeFaultName = PracticeFaultEntry["fault"];

export const PracticeFaultFileSchema = Type.Object(
  { faults: Type.Array(PracticeFaultEntrySchema, { minItems: 1, maxItems: 200 }) },
  { additionalProperties: false },
);
export type PracticeFaultFile = Static<typeof PracticeFaultFileSchema>;
