import { hostOfAgent, lintGroups, type SiteGraph } from "@dyetrace/site";
import { type Guards, isAmongPorts, parseIpAddress, refuseGroup, type ScenarioStream } from "@dyetrace/wire";

/** A connected agent, and what its own host allows. */
export interface ProbeAgent {
  readonly name: string;
  readonly guards: Guards;
}

/** Hosts of the plan whose agents are connected. */
export const hostsOf = (agents: readonly ProbeAgent[], graph: SiteGraph): string[] =>
  agents.flatMap(({ name }) => hostOfAgent(graph, name) ?? []);

/** True where the host's own guards would let it send this. */
export function maySend({ guards }: ProbeAgent, stream: ScenarioStream, group: string, rateBps: number): boolean {
  return (
    guards.allowSending &&
    guards.maxRateBps >= rateBps &&
    guards.maxTtl >= stream.ttl &&
    guards.maxDscp >= stream.dscp &&
    isFree(group, stream.port, guards)
  );
}

function isFree(text: string, port: number, guards: Guards): boolean {
  const group = parseIpAddress(text);
  try {
    return group !== null && refuseGroup(group, guards) === null && isAmongPorts(port, guards.allowedPorts);
  } catch {
    return false; // what that agent says of its host is no range
  }
}

/** Neighbours of a group that are tried. */
const MOST_TRIED = 8;

/**
 * A group close to one that was agreed, which the scenario does not use and nothing speaks against; null where there is
 * none. Whether the site uses it, the look before the run finds out.
 */
export function spareGroup(stream: ScenarioStream, used: readonly string[]): string | null {
  if (stream.isSourceSpecific) return null;
  for (let step = 1; step <= MOST_TRIED; step++) {
    const group = neighbour(stream.group, step);
    if (group === null || used.includes(group)) continue;
    const remarks = lintGroups([{ name: "probe", group, ttl: stream.ttl, isSourceSpecific: false, mostRouters: null }]);
    if (remarks.length === 0) return group;
  }
  return null;
}

function neighbour(group: string, step: number): string | null {
  const parts = /^(.*\.)(\d+)$/.exec(group);
  if (parts !== null) {
    const last = Number(parts[2]) + step;
    return last > 254 ? null : `${parts[1]}${last}`;
  }
  const tail = /^(.*:)([0-9a-f]{1,4})$/i.exec(group);
  if (tail === null) return null;
  const last = Number.parseInt(tail[2] ?? "", 16) + step;
  return last > 0xffff ? null : `${tail[1]}${last.toString(16)}`;
}
