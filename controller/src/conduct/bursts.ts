import { hasRadio, type SiteGraph } from "@dyetrace/site";
import {
  formatCount,
  formatRateBps,
  type Scenario,
  type ScenarioAction,
  type ScenarioStream,
  TEST_PACKET_MIN_BYTES,
} from "@dyetrace/wire";
import { mostBurstPerS } from "../plan/bursts-ahead.ts";
import { compileScenario } from "../plan/compile-scenario.ts";
import type { AgentAddresses, CompiledRun } from "../plan/compiled-run.ts";

/** Joins take effect before the first packet, and the last ones arrive before anybody leaves. */
const JOINED_NS = 2e9;
const LEAVING_NS = 1e9;
const BURST_NS = 2e9;
/** From the reading before a burst to the one after it, s: devices are read once a second meanwhile, and that takes time. */
export const BURST_SPAN_S = 5;

/** When its packets are sent, after its start. */
export const BURST_TIMES: { readonly fromNs: number; readonly toNs: number } = {
  fromNs: JOINED_NS,
  toNs: JOINED_NS + BURST_NS,
};

export interface Bursts {
  readonly streams: readonly string[];
  /** Of each stream. */
  readonly packets: number;
}

/**
 * A short run of a known number of packets: everyone joins who joined these streams at some time. No stream brings more bits per second
 * than it does in the run itself; its packets are smaller where they have to be.
 * @param agents connected agents by name @returns a sentence where that number would take more
 */
export function compileBursts(
  run: CompiledRun,
  runId: string,
  graph: SiteGraph,
  agents: ReadonlyMap<string, AgentAddresses>,
  { streams: names, packets }: Bursts,
): CompiledRun | string {
  const perS = packets / (BURST_NS / 1e9);
  const most = mostBurstPerS(graph);
  if (perS > most) {
    const where = hasRadio(graph) ? " on a site with access points" : "";
    return `it would take ${formatCount(packets)} packets of each stream in ${BURST_NS / 1e9} s, and a burst has ${formatCount(most)} packets per second at most${where}`;
  }
  const streams: ScenarioStream[] = [];
  for (const stream of run.streams.filter(({ name }) => names.includes(name))) {
    const payloadBytes = Math.min(stream.payloadBytes, Math.floor(stream.rateBps / 8 / perS));
    if (payloadBytes < TEST_PACKET_MIN_BYTES) {
      return `it would take ${formatCount(packets)} packets in ${BURST_NS / 1e9} s, which is more than ${stream.name}'s own ${formatRateBps(stream.rateBps)}`;
    }
    streams.push({ ...stream, payloadBytes, rateBps: payloadBytes * 8 * perS, burstPackets: 1, hasCompanion: false });
  }
  return { ...compileScenario(runId, burstScenario(run, streams), graph, agents), partOf: run.runId };
}

function burstScenario({ scenario, streams: all, joins }: CompiledRun, streams: readonly ScenarioStream[]): Scenario {
  const timeline = all.flatMap(({ name, entry }): ScenarioAction[] => {
    if (!streams.some((stream) => stream.name === name)) return [];
    const members = [...new Set(joins.filter(({ stream }) => stream === name).map(({ agent }) => agent))];
    const base = { stream: name, entry };
    const leaveNs = BURST_TIMES.toNs + LEAVING_NS;
    return [
      ...(members.length === 0 ? [] : [{ ...base, kind: "join", atNs: 0, agents: members } as const]),
      { ...base, kind: "emit", atNs: BURST_TIMES.fromNs },
      { ...base, kind: "stop", atNs: BURST_TIMES.toNs },
      ...(members.length === 0 ? [] : [{ ...base, kind: "leave", atNs: leaveNs, agents: members } as const]),
    ];
  });
  timeline.sort((a, b) => a.atNs - b.atNs);
  return { ...scenario, streams, timeline, durationNs: BURST_TIMES.toNs + LEAVING_NS };
}
