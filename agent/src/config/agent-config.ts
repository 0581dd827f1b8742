import {
  checkAgainstSchema,
  DEFAULT_GUARDS,
  FileMistakes,
  type Guards,
  parseDurationNs,
  parseRateBps,
  readYamlDocument,
} from "@dyetrace/wire";
import Type from "typebox";

/** Where an installed agent's own file lies. */
export const DEFAULT_CONFIG_FILE = "/etc/dyetrace/agent.yaml";

/** What the host's own file says. No controller can change or exceed it. */
export interface AgentConfig {
  /** Whom to ask about this host's test traffic; stands in every packet. */
  readonly contact: string;
  /** The interface to the tested network; null: the only one there is. */
  readonly interfaceName: string | null;
  /** Whether its controller may replace this agent's program: whoever may do that is bound by no guard. */
  readonly allowsUpgrade: boolean;
  readonly guards: Guards;
}

export const DEFAULT_CONFIG: AgentConfig = {
  contact: "",
  interfaceName: null,
  allowsUpgrade: false,
  guards: DEFAULT_GUARDS,
};

const rate = (): Type.TString => Type.String({ description: "a rate such as 10 Mbit/s" });
const ranges = (): Type.TArray<Type.TString> =>
  Type.Array(Type.String({ description: "a range such as 239.195.0.0/16" }), {
    maxItems: 256,
  });

const AgentConfigSchema = Type.Object(
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

/** @throws {Fault} AGENT_CONFIG_INVALID with the place of the first mistake */
export function loadAgentConfig(text: string | Uint8Array, file: string): AgentConfig {
  const document = readYamlDocument(text, file, "AGENT_CONFIG_INVALID");
  const data = checkAgainstSchema(document, AgentConfigSchema);
  const mistakes = new FileMistakes(document);
  const own = data.guards ?? {};
  const maxRate = own["max-rate"];
  const maxDuration = own["max-duration"];
  const maxRateBps =
    maxRate === undefined ? null : mistakes.attempt(["guards", "max-rate"], () => parseRateBps(maxRate));
  const maxDurationNs =
    maxDuration === undefined ? null : mistakes.attempt(["guards", "max-duration"], () => parseDurationNs(maxDuration));
  mistakes.throwIfAny();
  return {
    contact: data.contact ?? "",
    interfaceName: data.interface ?? null,
    allowsUpgrade: data["allow-upgrade"] ?? false,
    guards: {
      allowSending: own["allow-sending"] ?? DEFAULT_GUARDS.allowSending,
      maxRateBps: maxRateBps ?? DEFAULT_GUARDS.maxRateBps,
      maxPacketsPerSecond: own["max-packets-per-second"] ?? DEFAULT_GUARDS.maxPacketsPerSecond,
      allowedGroups: own["allowed-groups"] ?? DEFAULT_GUARDS.allowedGroups,
      refusedGroups: own["refused-groups"] ?? DEFAULT_GUARDS.refusedGroups,
      refuseReservedAliases: own["refuse-reserved-aliases"] ?? DEFAULT_GUARDS.refuseReservedAliases,
      companionHosts: own["companion-hosts"] ?? DEFAULT_GUARDS.companionHosts,
      maxTtl: own["max-ttl"] ?? DEFAULT_GUARDS.maxTtl,
      maxDscp: own["max-dscp"] ?? DEFAULT_GUARDS.maxDscp,
      maxDurationNs: maxDurationNs ?? DEFAULT_GUARDS.maxDurationNs,
      maxStreams: own["max-streams"] ?? DEFAULT_GUARDS.maxStreams,
    },
  };
}
