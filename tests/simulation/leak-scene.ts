import type { Finding } from "../../packages/locate/src/finding/finding.ts";
import { locate } from "../../packages/locate/src/locate.ts";
import { randomSite } from "./random-site.ts";
import { drawInteger, drawOne, drawSome, type Random } from "./seeded-random.ts";
import { simulateRun } from "./simulate-run.ts";
import type { SimulatedFault, SimulatedStream } from "./simulated-fault.ts";
import { truthOf } from "./stop-scene.ts";

/** What came of one site on which a switch forwards what it should keep. */
export interface LeakOutcome {
  readonly fault: SimulatedFault | null;
  readonly findings: readonly Finding[];
  readonly isFound: boolean;
  readonly falseBlame: readonly Finding[];
}

/**
 * A random site with listeners and bystanders, and one leaking switch or port that some bystander notices, or none.
 * @returns null when no bystander would have noticed it
 */
export function playLeak(isLeaking: boolean, random: Random): LeakOutcome | null {
  const graph = randomSite(random, drawInteger(random, 8, 120));
  const hosts = [...graph.nodes.values()].filter((node) => node.kind === "host").map((node) => node.name);
  const agents = drawSome(random, hosts, Math.max(3, Math.ceil(hosts.length * (0.5 + 0.5 * random()))));
  const [source = "", ...others] = agents;
  const streams = [1, 2].map((group): SimulatedStream => {
    const listeners = others.filter(() => random() < 0.4);
    return {
      stream: `stream-${group}`,
      group: `233.252.0.${group}`,
      source,
      listeners,
      bystanders: others.filter((agent) => !listeners.includes(agent)),
      packets: 2_000,
    };
  });
  const switches = [...graph.nodes.values()].filter((node) => node.kind === "switch").map((node) => node.name);
  const node = drawOne(random, switches);
  const port = drawOne(random, graph.outgoing.get(node) ?? []).id;
  const kind = random() < 0.5 ? "flooding-node" : "flooding-port";
  const fault: SimulatedFault = kind === "flooding-node" ? { kind, node } : { kind, segment: port };
  const sound = simulateRun(graph, streams, [], random);
  const run = isLeaking ? simulateRun(graph, streams, [fault], random) : sound;
  const frames = (observed: typeof run): number => observed.bystanders.reduce((sum, b) => sum + b.frames, 0);
  if (isLeaking && frames(run) === frames(sound)) return null;
  const { findings } = locate(graph, run);
  const isRight = (finding: Finding): boolean =>
    isLeaking &&
    (finding.suspects.includes(truthOf(fault)) ||
      // Every port of a node that floods leaks.
      (kind === "flooding-node" && finding.suspects.some((id) => id.startsWith(`${node}:`))));
  return {
    fault: isLeaking ? fault : null,
    findings,
    isFound: findings.some((finding) => finding.suspects.includes(truthOf(fault))),
    falseBlame: findings.filter((finding) => !isRight(finding)),
  };
}
