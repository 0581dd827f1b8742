import type { SiteGraph } from "@dyetrace/site";
import type { SuspectElement } from "../../packages/locate/src/finding/finding.ts";
import { locate } from "../../packages/locate/src/locate.ts";
import { narrowSuspects } from "../../packages/locate/src/narrow-suspects.ts";
import type { Narrowed } from "../../packages/locate/src/probe/narrow.ts";
import type { Probe, ProbeTask } from "../../packages/locate/src/probe/probe.ts";
import { drawOne, type Random } from "./seeded-random.ts";
import { simulateRun } from "./simulate-run.ts";
import type { SimulatedFault, SimulatedStream } from "./simulated-fault.ts";
import type { StopScene } from "./stop-scene.ts";

/** A stop on a random site whose suspects the first run could not tell apart. */
export interface ProbeScene {
  readonly graph: SiteGraph;
  readonly fault: SimulatedFault;
  readonly task: ProbeTask;
}

/** Long enough to be told as silence, and no longer: a probe is small. */
const PROBE_PACKETS = 100;

/** @returns null where the fault silences nobody, or one suspect alone is named */
export function drawProbeScene({ graph, streams, candidates }: StopScene, random: Random): ProbeScene | null {
  const fault = drawOne(random, candidates);
  const { findings } = locate(graph, simulateRun(graph, streams, [fault], random));
  const [finding] = findings;
  const causes = finding?.causes;
  if (finding === undefined || causes === undefined || findings.length > 1 || finding.suspects.length < 2) return null;
  const silent = streams
    .filter(({ stream }) => finding.streams.includes(stream))
    .map(({ stream, source, group }) => ({
      source,
      group,
      isSourceSpecific: false,
      hosts: causes.silent.flatMap((pair) => (pair.stream === stream ? pair.host : [])),
    }));
  const agents = new Set(streams.flatMap((stream) => [stream.source, ...stream.listeners]));
  const hosts = [...graph.nodes.keys()].filter((name) => agents.has(name));
  return {
    graph,
    fault,
    task: { suspects: finding.suspects, causes, silent, hosts, senders: hosts, spareGroup: "233.252.0.250" },
  };
}

/** What both runs leave if this is at fault in the probe. */
export function playProbe(
  graph: SiteGraph,
  task: ProbeTask,
  probe: Probe,
  faults: readonly SimulatedFault[],
  random: Random,
): Narrowed {
  const streams = probe.streams.map(
    ({ source, group, listeners, payloadBytes }, number): SimulatedStream => ({
      stream: `probe-${number + 1}`,
      source,
      group,
      listeners,
      payloadBytes,
      packets: PROBE_PACKETS,
    }),
  );
  return narrowSuspects(graph, task, simulateRun(graph, streams, faults, random));
}

/** The faults that the simulation knows for an element; none where it has no such fault. */
export function faultsOf({ place, kind, of }: SuspectElement): SimulatedFault[] {
  const group = of ?? "";
  switch (kind) {
    case "link":
      return [{ kind: "outage", place, fromMs: 0 }];
    case "direction":
      return [{ kind: "dead-segment", segment: place }];
    case "reports":
      return [{ kind: "lost-reports", segment: place }];
    case "node":
      return [{ kind: "dead-node", node: place }];
    case "sender":
      return [{ kind: "dead-sender", host: place }];
    case "receiver":
      return [{ kind: "dead-receiver", host: place }];
    case "host":
      return [
        { kind: "dead-sender", host: place },
        { kind: "dead-receiver", host: place },
      ];
    case "link-group":
      return [{ kind: "segment-group", segment: place, group }];
    case "node-group":
      return [{ kind: "node-group", node: place, group }];
    case "cable":
    case "node-source":
    case "node-any-source":
    case "reports-group":
    case "sender-group":
    case "receiver-group":
      return [];
  }
}
