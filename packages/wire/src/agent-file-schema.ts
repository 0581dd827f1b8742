import Type, { type Static } from "@dyetrace/schema";

const rate = () => Type.String({ description: "a rate such as 10 Mbit/s" });
const duration = () => Type.String({ description: "a duration such as 24 h" });
const ranges = () =>
  Type.Array(Type.String({ description: "a range such as 239.195.0.0/16" }), {
    maxItems: 256,
  });

const ports = () =>
  Type.Array(Type.Union([Type.Integer({ minimum: 1, maximum: 65_535 }), Type.String()]), {
    maxItems: 256,
    description: "a list of ports such as [48620, 49152-65535]",
  });
const upTo = (minimum: number, maximum: number) =>
  Type.Integer({ minimum, maximum, description: `a number from ${minimum} to ${maximum}` });

/** What a host's own file may say to the agent there. No controller can change or exceed its guards. */
export const AgentFileSchema = Type.Object(
  {
    contact: Type.Optional(
      Type.String({
        description: "a name or address",
        maxLength: 120,
        pattern: "^[ -~]*$",
      }),
    ),
    interface: Type.Optional(Type.String({ description: "a name such as eth0", maxLength: 64 })),
    announce: Type.Optional(Type.Boolean({ description: "true or false" })),
    "allow-upgrade": Type.Optional(Type.Boolean({ description: "true or false" })),
    "upgrade-keys": Type.Optional(
      Type.Array(
        Type.String({
          description: "a public key of 44 characters, as `npm run sign:agent -- --make-key FILE` prints it",
          pattern: "^[A-Za-z0-9+/]{43}=$",
        }),
        { maxItems: 4 },
      ),
    ),
    "allow-downgrade": Type.Optional(Type.Boolean({ description: "true or false" })),
    controllers: Type.Optional(
      Type.Array(
        Type.Object(
          {
            address: Type.String({
              description: "for example https://192.0.2.1:8472",
              maxLength: 512,
              pattern: "^https?://[A-Za-z0-9.\\-]+(:[0-9]{1,5})?/?$|^https?://\\[[0-9A-Fa-f:]+\\](:[0-9]{1,5})?/?$",
            }),
            pin: Type.Optional(
              Type.String({
                description: "sha256// and 44 characters, as the controller shows it",
                maxLength: 120,
                pattern: "^sha256//[A-Za-z0-9+/]{43}=(;sha256//[A-Za-z0-9+/]{43}=)?$",
              }),
            ),
          },
          { additionalProperties: false },
        ),
        { maxItems: 16, description: "a list of controllers, each with its address" },
      ),
    ),
    guards: Type.Optional(
      Type.Object(
        {
          "allow-sending": Type.Optional(Type.Boolean({ description: "true or false" })),
          "max-rate": Type.Optional(rate()),
          "max-packets-per-second": Type.Optional(
            Type.Number({
              exclusiveMinimum: 0,
              description: "a number above 0",
            }),
          ),
          "allowed-groups": Type.Optional(ranges()),
          "refused-groups": Type.Optional(ranges()),
          "allow-reserved-groups": Type.Optional(ranges()),
          "refuse-reserved-aliases": Type.Optional(Type.Boolean({ description: "true or false" })),
          "allowed-ports": Type.Optional(ports()),
          "companion-hosts": Type.Optional(ranges()),
          "companion-ports": Type.Optional(ports()),
          "max-companions": Type.Optional(upTo(0, 4096)),
          "allowed-joins": Type.Optional(ranges()),
          "allowed-follows": Type.Optional(ranges()),
          "max-joins": Type.Optional(upTo(0, 4096)),
          "max-ttl": Type.Optional(upTo(1, 255)),
          "max-dscp": Type.Optional(upTo(0, 63)),
          "max-duration": Type.Optional(duration()),
          "max-hold": Type.Optional(duration()),
          "max-streams": Type.Optional(upTo(1, 4096)),
        },
        { additionalProperties: false, description: "a list of limits" },
      ),
    ),
  },
  { additionalProperties: false, description: "settings of an agent" },
);
export type AgentFile = Static<typeof AgentFileSchema>;
