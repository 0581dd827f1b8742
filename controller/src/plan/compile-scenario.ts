import { nodeOfAddress, type SiteGraph } from "@dyetrace/site";
import {
  Fault,
  parseIpAddress,
  type Scenario,
  type ScenarioStream,
  type TaskAction,
  type TaskStream,
} from "@dyetrace/wire";
import { asTaskCompanion, hostAddress, planCompanions } from "./companions.ts";
import type { AgentAddresses, CompiledCompanion, CompiledRun, CompiledStream, PlannedJoin } from "./compiled-run.ts";
import { SETTLE_AFTER_LEAVE_NS, SETTLE_NS } from "./settle-times.ts";

const INTERVAL_NS = 1e9;

/**
 * Scenario, site and agents as a timed list of actions for each agent. Pure.
 * @param agents connected agents by name
 * @throws {Fault} where a source-specific join needs an address: AGENT_CANNOT if the source has none, AGENT_MISSING if it is not
 *   connected
 */
export function compileScenario(
  runId: string,
  scenario: Scenario,
  graph: SiteGraph,
  agents: ReadonlyMap<string, AgentAddresses>,
): CompiledRun {
  const hosts = new Map(
    [...graph.nodes.values()].flatMap((node) => (node.agent === null ? [] : [[node.agent, node.name]])),
  );
  const streams = scenario.streams.map((stream, index) => ({
    ...stream,
    streamId: index + 1,
    sourceHost: hosts.get(stream.source) ?? senderNode(graph, stream) ?? stream.source,
  }));
  const byName = new Map(streams.map((stream) => [stream.name, stream]));
  const actions = new Map<string, TaskAction[]>([...hosts.keys()].map((agent) => [agent, []]));
  const joins: PlannedJoin[] = [];
  const open = new Map<string, PlannedJoin>();

  for (const action of scenario.timeline) {
    const stream = byName.get(action.stream);
    if (stream === undefined) continue; // the loader has refused unknown streams
    const { streamId } = stream;
    switch (action.kind) {
      case "emit":
      case "stop":
        if (stream.production !== undefined) break; // nobody's agent sends it
        actions.get(stream.source)?.push({ atNs: action.atNs, kind: action.kind, streamId });
        break;
      case "set":
        actions.get(stream.source)?.push({
          atNs: action.atNs,
          kind: "set",
          streamId,
          ...(action.rateBps === null ? {} : { rateBps: action.rateBps }),
          ...(action.payloadBytes === null ? {} : { payloadBytes: action.payloadBytes }),
        });
        break;
      case "join":
      case "leave": {
        const named =
          action.agents ?? [...hosts].flatMap(([agent, host]) => (host === stream.sourceHost ? [] : [agent]));
        for (const agent of named) {
          const key = `${stream.name} ${agent}`;
          const stay = open.get(key);
          if ((action.kind === "join") === (stay !== undefined)) continue; // joined already, or not joined
          actions.get(agent)?.push({ atNs: action.atNs, kind: action.kind, streamId });
          if (stay === undefined)
            open.set(key, {
              stream: stream.name,
              agent,
              fromNs: action.atNs,
              toNs: null,
            });
          else {
            joins.push({ ...stay, toNs: action.atNs });
            open.delete(key);
          }
        }
        break;
      }
    }
  }
  const hasLeaves = joins.length > 0;
  joins.push(...open.values());
  const endNs = scenario.durationNs + (hasLeaves ? SETTLE_AFTER_LEAVE_NS : SETTLE_NS);
  const companions = planCompanions(streams, joins, agents, streams.length + 1);
  const namesPerInterval = namesInInterval(scenario.durationNs);
  const taskStreams = streams.map((stream) => asTaskStream(stream, agents, graph, namesPerInterval));
  const tasks = new Map(
    [...actions].map(([agent, list]) => {
      const own = companions.filter(({ listener, stream }) => listener === agent || stream.source === agent);
      return [
        agent,
        {
          runId,
          streams: [...taskStreams, ...own.map((one) => asTaskCompanion(one, byName.get(one.of)?.streamId ?? 0))],
          actions: withCompanions(list, own, byName),
          endNs,
          intervalNs: INTERVAL_NS,
          holdNs: scenario.holdNs,
        },
      ];
    }),
  );
  return { runId, scenario, streams, joins, companions, tasks, endNs };
}

/** The node that a production stream comes from, where the plan has it. */
function senderNode(graph: SiteGraph, { production }: CompiledStream | ScenarioStream): string | null {
  const from = production?.from ?? null;
  if (from === null) return null;
  return graph.nodes.has(from) ? from : nodeOfAddress(graph, from);
}

/** What one agent may tell of one stream in a whole run, and what one name takes of it; our choice, no source. */
const MOST_NAME_BYTES = 20e6;
const NAME_BYTES = 8;
const NAMES = { least: 64, most: 2000 };

/** A short run compares every packet of most streams, a night so many that its reports can be kept. */
const namesInInterval = (durationNs: number): number => {
  const intervals = Math.max(1, durationNs / INTERVAL_NS);
  return Math.round(Math.min(NAMES.most, Math.max(NAMES.least, MOST_NAME_BYTES / NAME_BYTES / intervals)));
};

/** A companion starts and stops with its stream, is listened to with it, and keeps its pace. */
function withCompanions(
  actions: readonly TaskAction[],
  companions: readonly CompiledCompanion[],
  streams: ReadonlyMap<string, CompiledStream>,
): TaskAction[] {
  return actions.flatMap((action) => {
    if (action.kind === "set") return [action];
    const beside = companions.filter(({ of }) => streams.get(of)?.streamId === action.streamId);
    return [action, ...beside.map(({ stream }) => ({ ...action, streamId: stream.streamId }))];
  });
}

function asTaskStream(
  stream: CompiledStream,
  agents: ReadonlyMap<string, AgentAddresses>,
  graph: SiteGraph,
  namesPerInterval: number,
): TaskStream {
  const { streamId, name, group, port, rateBps, payloadBytes, ttl, dscp, burstPackets } = stream;
  const { production } = stream;
  const ssmSource = !stream.isSourceSpecific
    ? null
    : production === undefined
      ? sourceAddress(stream, agents.get(stream.source))
      : senderAddress(stream, graph, agents);
  return {
    streamId,
    name,
    group,
    port,
    ssmSource,
    rateBps,
    payloadBytes,
    ttl,
    dscp,
    burstPackets,
    ...(production === undefined ? {} : { production: { format: production.format, namesPerInterval } }),
  };
}

/** Of a stream of others: as the scenario has it, as the plan has it, or as an agent on that host tells. */
function senderAddress(stream: CompiledStream, graph: SiteGraph, agents: ReadonlyMap<string, AgentAddresses>): string {
  const from = stream.production?.from ?? null;
  const family = parseIpAddress(stream.group)?.family;
  const isFit = (text: string | null): boolean => text !== null && parseIpAddress(text)?.family === family;
  if (from !== null && isFit(from)) return from;
  const node = graph.nodes.get(stream.sourceHost);
  const address = node?.addresses?.find(isFit) ?? hostAddress(stream, agents.get(node?.agent ?? ""));
  if (address !== null && address !== undefined) return address;
  throw new Fault(
    "AGENT_CANNOT",
    `${stream.name} is joined by its sender's address, and ${from === null ? "its sender is not named" : `no IPv${family} address of ${from} is known`}`,
    "Write the sender's address in from:, give the node of the plan an address, or use a group outside the source-specific range",
  );
}

function sourceAddress(stream: CompiledStream, source: AgentAddresses | undefined): string {
  if (source === undefined) {
    throw new Fault(
      "AGENT_MISSING",
      `Agent ${stream.source} is not connected, and ${stream.name} is joined by its source's address`,
      "Start it, or leave the stream out of the scenario",
    );
  }
  const address = hostAddress(stream, source);
  if (address === null) {
    const isV6 = parseIpAddress(stream.group)?.family === 6;
    throw new Fault(
      "AGENT_CANNOT",
      `${stream.source} has no IPv${isV6 ? 6 : 4} address, and ${stream.name} is joined by its source's address`,
      "Give the host an address on the tested interface, or use a group outside the source-specific range",
    );
  }
  return address;
}
