import Type from "@dyetrace/schema";

const rate = () => Type.String({ description: "a rate such as 10 Mbit/s" });
const ranges = () =>
  Type.Array(Type.String({ description: "a range such as 239.195.0.0/16" }), {
    maxItems: 256,
  });

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
    "allow-upgrade": Type.Optional(Type.Boolean({ description: "true or false" })),
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
          "refuse-reserved-aliases": Type.Optional(Type.Boolean({ description: "true or false" })),
          "companion-hosts": Type.Optional(ranges()),
          "max-ttl": Type.Optional(
            Type.Integer({
              minimum: 1,
              maximum: 255,
              description: "a number from 1 to 255",
            }),
          ),
          "max-dscp": Type.Optional(
            Type.Integer({
              minimum: 0,
              maximum: 63,
              description: "a number from 0 to 63",
            }),
          ),
          "max-duration": Type.Optional(Type.String({ description: "a duration such as 24 h" })),
          "max-streams": Type.Optional(
            Type.Integer({
              minimum: 1,
              maximum: 4096,
              description: "a number from 1 to 4096",
            }),
          ),
        },
        { additionalProperties: false, description: "a list of limits" },
      ),
    ),
  },
  { additionalProperties: false, description: "settings of an agent" },
);
