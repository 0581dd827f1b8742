import Type, { type Static } from "@dyetrace/schema";
import { words } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

const Auth = Type.Union(
  [Type.Literal("sha"), Type.Literal("sha224"), Type.Literal("sha256"), Type.Literal("sha384"), Type.Literal("sha512")],
  { description: "sha, sha224, sha256, sha384 or sha512" },
);
/** RFC 3414, section 11.2: a password has 8 characters at least. */
const Password = Type.String({ minLength: 8, maxLength: 256 });

/**
 * How a device is read. SNMPv3 proves who asks and who answers, and nobody else can read it (RFC 3414, RFC 3826; the longer
 * hashes are RFC 7860's). SNMPv2c sends its community, and all that is read, in clear.
 */
export const DeviceAccessSchema = Type.Union([
  Type.Object(
    {
      version: Type.Literal("3"),
      /** As the device has it. */
      user: words(32, 1),
      auth: Auth,
      authPassword: Password,
      privacy: Type.Literal("aes"),
      privacyPassword: Password,
    },
    { additionalProperties: false },
  ),
  Type.Object(
    { version: Type.Literal("2c"), community: Type.String({ minLength: 1, maxLength: 255 }) },
    { additionalProperties: false },
  ),
]);
export type DeviceAccess = DeepReadonly<Static<typeof DeviceAccessSchema>>;

/** As a site plan names its nodes. */
const Node = words(80, 1);
const Address = words(45, 2);
const Port = Type.Integer({ minimum: 1, maximum: 65_535 });

/** A device that an operator lets this controller read; one of the same name is replaced. */
export const DeviceTargetSchema = Type.Object(
  { node: Node, address: Address, port: Port, access: DeviceAccessSchema },
  { additionalProperties: false },
);
export type DeviceTarget = DeepReadonly<Static<typeof DeviceTargetSchema>>;

/** The same for whoever may look: without a secret. */
export const DeviceEntrySchema = Type.Object({
  node: Node,
  address: Address,
  port: Port,
  by: Type.Union([Type.Literal("snmp-v3"), Type.Literal("snmp-v2c")]),
  /** Null: version 2c has no users. */
  user: Nullable(words(32)),
  /** ISO 8601, UTC. */
  addedAt: words(40),
  addedBy: words(200),
});
export type DeviceEntry = DeepReadonly<Static<typeof DeviceEntrySchema>>;
