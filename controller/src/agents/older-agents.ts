import { completeReport, type Guards } from "@dyetrace/wire";

/** Control protocol in which an agent tells which hosts its companions may go to. */
const COMPANIONS_SINCE = 3;
/** Control protocol in which an agent tells all limits that its host's file has; before, nothing else limited it. */
const ALL_LIMITS_SINCE = 5;
const NO_LIMITS: Partial<Guards> = {
  allowedReservedGroups: ["224.0.0.0/4", "ff00::/8"],
  allowedPorts: ["1-65535"],
  companionPorts: ["1-65535"],
  maxCompanions: 4096,
  allowedJoins: ["224.0.0.0/4", "ff00::/8"],
  maxJoins: 4096,
  maxHoldNs: 24 * 3600e9,
};

/**
 * What an agent of an earlier protocol did not say yet, said for it: nothing that it does not have. @param hello not looked at
 * yet @returns the same for a newer agent, or one of no shape that we know
 */
export function completeHello(hello: unknown, protocol: number): unknown {
  if (protocol >= ALL_LIMITS_SINCE) return hello;
  const { capabilities } = hello as { readonly capabilities?: { readonly guards?: object } };
  if (typeof capabilities?.guards !== "object" || capabilities.guards === null) return hello;
  const earliest = protocol < COMPANIONS_SINCE ? { companionHosts: [] } : {};
  return {
    ...(hello as object),
    capabilities: { ...capabilities, guards: { ...NO_LIMITS, ...earliest, ...capabilities.guards } },
  };
}

/**
 * A report in today's form, whichever way it was written: agents of protocol 4 leave out what is at rest, earlier ones wrote
 * everything, and figures that are no more. @param message not looked at yet @returns others as they are
 */
export function completeMessage(message: unknown): unknown {
  if (typeof message !== "object" || message === null || !("kind" in message) || message.kind !== "report")
    return message;
  return { ...message, report: completeReport("report" in message ? message.report : undefined) };
}
