import type { SiteGraph } from "@dyetrace/site";
import type { Scenario, ScenarioAction, ScenarioStream } from "@dyetrace/wire";
import { compileScenario } from "../plan/compile-scenario.ts";
import type { AgentAddresses, CompiledRun } from "../plan/compiled-run.ts";

/** Where a live site's load begins (common practice, no source). */
const FIRST_PACKETS_PER_SECOND = 10;
/** Groups that the ramp goes through; the others of a scenario join only in the run itself. */
const MOST_STREAMS = 8;
/** Joins take effect before the first packet. */
const JOINED_NS = 2e9;

/**
 * A run before the run: everyone joins who joins at some time, the streams begin at 10 packets/s and double from step to
 * step up to their agreed rates, and every bystander watches.
 * @param agents connected agents by name
 */
export function compileRamp(
  run: CompiledRun,
  runId: string,
  graph: SiteGraph,
  agents: ReadonlyMap<string, AgentAddresses>,
  stepNs: number,
): CompiledRun {
  return { ...compileScenario(runId, rampScenario(run, stepNs), graph, agents), partOf: run.runId };
}

function rampScenario({ scenario, streams: all, joins }: CompiledRun, stepNs: number): Scenario {
  const streams = all.slice(0, MOST_STREAMS);
  const rates = streams.map(ratesOf);
  const steps = Math.max(...rates.map((list) => list.length));
  const endNs = JOINED_NS + steps * stepNs;
  const timeline: ScenarioAction[] = [];
  for (const [index, stream] of streams.entries()) {
    const members = [...new Set(joins.filter((join) => join.stream === stream.name).map((join) => join.agent))];
    const base = { stream: stream.name, entry: stream.entry };
    if (members.length > 0) timeline.push({ ...base, kind: "join", atNs: 0, agents: members });
    timeline.push({ ...base, kind: "emit", atNs: JOINED_NS });
    for (const [step, rateBps] of (rates[index] ?? []).entries()) {
      if (step > 0)
        timeline.push({ ...base, kind: "set", atNs: JOINED_NS + step * stepNs, rateBps, payloadBytes: null });
    }
    timeline.push({ ...base, kind: "stop", atNs: endNs });
    if (members.length > 0) timeline.push({ ...base, kind: "leave", atNs: endNs, agents: members });
  }
  timeline.sort((a, b) => a.atNs - b.atNs);
  return {
    ...scenario,
    streams: streams.map((stream) => ({ ...stream, rateBps: ratesOf(stream)[0] ?? stream.rateBps })),
    timeline,
    durationNs: endNs,
  };
}

/** 10 packets/s, 20, 40 … as long as that is less than the agreed rate; a slower stream begins with its own. */
function ratesOf({ rateBps: agreedBps, payloadBytes, burstPackets }: ScenarioStream): number[] {
  const firstBps = FIRST_PACKETS_PER_SECOND * payloadBytes * 8 * burstPackets;
  if (firstBps >= agreedBps) return [agreedBps];
  const rates: number[] = [];
  for (let rateBps = firstBps; rateBps < agreedBps; rateBps *= 2) rates.push(rateBps);
  return rates;
}
