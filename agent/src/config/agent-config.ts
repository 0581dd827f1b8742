import {
  AgentFileSchema,
  checkAgainstSchema,
  DEFAULT_GUARDS,
  FileMistakes,
  type Guards,
  parseDurationNs,
  parseRateBps,
  readYamlDocument,
} from "@dyetrace/wire";

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

/** @throws {Fault} AGENT_CONFIG_INVALID with the place of the first mistake */
export function loadAgentConfig(text: string | Uint8Array, file: string): AgentConfig {
  const document = readYamlDocument(text, file, "AGENT_CONFIG_INVALID");
  const data = checkAgainstSchema(document, AgentFileSchema);
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
