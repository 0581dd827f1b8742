import type { SiteGraph } from "@dyetrace/site";
import { chooseStreams } from "./probe/choose-streams.ts";
import { nearHosts, placesNear } from "./probe/near-hosts.ts";
import type { Probe, ProbeTask, WantedAgent } from "./probe/probe.ts";
import { routeCombinations } from "./route-choices.ts";
import { indexSite, type SiteIndex } from "./site/site-index.ts";

/** A gain in suspects below this is none. */
const NOTHING = 1e-6;

/**
 * The run that would part a finding's suspects best, with the agents that there are: streams from other sources, to other
 * listeners, to another group, and what failed once more beside them. It takes one fault to be at work, which is still there.
 * @returns null where what failed cannot be repeated: its source, or everybody who got nothing, takes no part
 */
export function chooseProbe(graph: SiteGraph, task: ProbeTask): Probe | null {
  const site = siteOf(graph, task);
  return chooseStreams(site, task, nearHosts(site, task.suspects, task.hosts, wantedHosts(task)));
}

/**
 * Where one more agent, sending and listening, would part the suspects best.
 * @param without the probe of today's agents @returns null where it would part them no better anywhere
 */
export function wantedAgent(graph: SiteGraph, task: ProbeTask, without: Probe): WantedAgent | null {
  const site = siteOf(graph, task);
  const hosts = nearHosts(site, task.suspects, task.hosts, wantedHosts(task));
  let best: WantedAgent | null = null;
  for (const beside of placesNear(site, task.suspects)) {
    // A host beside a node sends and receives through it, as if the node itself did.
    const more = { ...task, senders: [...task.senders, beside] };
    const expectedSuspects = chooseStreams(site, more, [...hosts, beside])?.expectedSuspects ?? task.suspects.length;
    if (expectedSuspects < (best ?? without).expectedSuspects - NOTHING) best = { beside, expectedSuspects };
  }
  return best;
}

const siteOf = (graph: SiteGraph, { senders, silent }: ProbeTask): SiteIndex =>
  indexSite(graph, routeCombinations(graph, [...silent.map(({ source }) => source), ...senders])[0]);

/** The first stream's source, and one or two whom it did not reach. */
const wantedHosts = ({ silent, senders }: ProbeTask): string[] => {
  const first = silent.find(({ source }) => senders.includes(source));
  return first === undefined ? [] : [first.source, ...first.hosts.slice(0, 2)];
};
