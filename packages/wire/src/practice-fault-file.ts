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

/** A kind of fault in words. */
export interface PracticeFaultKind {
  readonly fault: PracticeFaultName;
  /** The places that it goes to. */
  readonly on: string;
  readonly does: string;
}

const DOES: Readonly<Record<PracticeFaultName, string>> = {
  drop: "Throws packets away: all, a share, every so many, one group's, or those larger than a size.",
  duplicate: "Sends packets twice.",
  reorder: "Holds every so many packets back, so that later ones come first.",
  "rate-limit": "Lets no more than a rate through, in bits or packets a second, with a burst.",
  "snooping-off": "The switch sends every group out of every port.",
  "table-size": "No more groups fit into the switch's table.",
  "drop-queries": "Membership queries are thrown away.",
  "drop-reports": "Membership reports are thrown away, of all hosts or of one.",
  "drop-leaves": "Leaves are thrown away, of all hosts or of one.",
  "fast-leave": "The port leaves a group at the first leave, whoever else is a member behind it.",
  "igmp-version": "The querier asks in an older version of IGMP or MLD.",
  "no-querier": "Nobody sends queries; with silent nothing takes the querier's place.",
  "second-querier": "A second querier asks as well.",
  "querier-timers": "The querier's intervals, or how long a membership lasts without a report, are others.",
  "to-unicast": "The port sends multicast to each member in unicast frames.",
  "router-port": "The port is always, or never, one toward a router.",
  mtu: "Packets larger than a size do not pass the port.",
  "link-down": "The link is down.",
  hairpin: "The port sends frames back out of the port that they came in by.",
  isolated: "The port exchanges nothing with other isolated ports.",
  "static-entry": "The port gets a group that nobody behind it asked for.",
  "host-firewall": "The host's own firewall throws UDP or IGMP away.",
  "reverse-path": "The host or router refuses a source because its way back leads elsewhere.",
  "vlan-missing": "The trunk does not carry one VLAN.",
  "not-forwarding": "The router does not forward a group.",
  "no-rendezvous-point": "The router knows no rendezvous point (PIM sparse mode).",
  "access-list": "A router's list refuses a group or a source on this segment.",
  "forward-delay": "The port forwards nothing for a while after its link comes up.",
};

export const PRACTICE_FAULT_KINDS: readonly PracticeFaultKind[] = PracticeFaultEntrySchema.anyOf.map(
  ({ properties }) => {
    const fault = properties.fault.const;
    const { description = "" } = properties.on as { readonly description?: string };
    return { fault, on: description, does: DOES[fault] };
  },
);
