import type { Finding } from "../finding/finding.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { nodesDownTo } from "../site/source-tree.ts";

/**
 * Hosts that alone show that a fault lies above the last fork on the way to those it hits: behind one of two branches
 * nobody else is hit. Without such a host the fault could as well lie behind the fork. Where a finding is about several
 * streams, those who do so for each.
 */
export function forkWitnesses(streams: readonly StreamFacts[], finding: Finding): string[] {
  const { witnesses = [] } = finding;
  if (witnesses.length < 2) return [];
  const ofStreams = streams.filter(({ stream }) => finding.streams.includes(stream.stream));
  const perStream = ofStreams.map((facts) => aloneBehindFork(facts, new Set(witnesses)));
  const [first = [], ...others] = perStream;
  return first.filter((host) => others.every((hosts) => hosts.includes(host)));
}

function aloneBehindFork({ tree, receipts }: StreamFacts, witnesses: ReadonlySet<string>): string[] {
  const hit = receipts.filter(({ listener, lostPackets }) => lostPackets > 0 && witnesses.has(listener.host));
  const hostsAt = new Map<number, Set<string>>();
  for (const { node, listener } of hit) {
    for (const step of [tree.source, ...nodesDownTo(tree, node)]) {
      hostsAt.set(step, (hostsAt.get(step) ?? new Set()).add(listener.host));
    }
  }
  const all = hostsAt.get(tree.source)?.size ?? 0;
  const shared = [...hostsAt].filter(([, hosts]) => hosts.size === all).map(([node]) => node);
  const fork = shared.reduce((lowest, node) => (tree.parent[node] === lowest ? node : lowest), tree.source);
  const branches = [...hostsAt].filter(([node]) => tree.parent[node] === fork).map(([, hosts]) => hosts);
  return branches.length > 2 ? [] : branches.flatMap((hosts) => (hosts.size === 1 ? [...hosts] : []));
}
