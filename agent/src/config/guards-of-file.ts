import {
  type AgentFile,
  DEFAULT_GUARDS,
  type FileMistakes,
  type Guards,
  parseAddressRange,
  parseDurationNs,
  parsePortRange,
  parseRateBps,
} from "@dyetrace/wire";

type OwnGuards = NonNullable<AgentFile["guards"]>;

/** The limits of a host's own file; where it says nothing, the cautious ones. @param mistakes takes what cannot be read */
export function guardsOfFile(own: OwnGuards, mistakes: FileMistakes): Guards {
  const read = <T>(key: keyof OwnGuards, parse: (text: string) => T, otherwise: T): T => {
    const text = own[key];
    if (typeof text !== "string") return otherwise;
    return mistakes.attempt(["guards", key], () => parse(text)) ?? otherwise;
  };
  const list = (key: keyof OwnGuards, parse: (text: string) => unknown, otherwise: readonly string[]): string[] => {
    const items = own[key];
    if (!Array.isArray(items)) return [...otherwise];
    const texts = items.map(String);
    for (const [index, text] of texts.entries()) mistakes.attempt(["guards", key, index], () => parse(text));
    return texts;
  };
  const none = DEFAULT_GUARDS;
  return {
    allowSending: own["allow-sending"] ?? none.allowSending,
    maxRateBps: read("max-rate", parseRateBps, none.maxRateBps),
    maxPacketsPerSecond: own["max-packets-per-second"] ?? none.maxPacketsPerSecond,
    allowedGroups: list("allowed-groups", parseAddressRange, none.allowedGroups),
    refusedGroups: list("refused-groups", parseAddressRange, none.refusedGroups),
    allowedReservedGroups: list("allow-reserved-groups", parseAddressRange, none.allowedReservedGroups),
    refuseReservedAliases: own["refuse-reserved-aliases"] ?? none.refuseReservedAliases,
    allowedPorts: list("allowed-ports", parsePortRange, none.allowedPorts),
    companionHosts: list("companion-hosts", parseAddressRange, none.companionHosts),
    companionPorts: list("companion-ports", parsePortRange, none.companionPorts),
    maxCompanions: own["max-companions"] ?? none.maxCompanions,
    allowedJoins: list("allowed-joins", parseAddressRange, none.allowedJoins),
    allowedFollows: list("allowed-follows", parseAddressRange, none.allowedFollows ?? []),
    maxJoins: own["max-joins"] ?? none.maxJoins,
    maxTtl: own["max-ttl"] ?? none.maxTtl,
    maxDscp: own["max-dscp"] ?? none.maxDscp,
    maxDurationNs: read("max-duration", parseDurationNs, none.maxDurationNs),
    maxHoldNs: read("max-hold", parseDurationNs, none.maxHoldNs),
    maxStreams: own["max-streams"] ?? none.maxStreams,
  };
}
