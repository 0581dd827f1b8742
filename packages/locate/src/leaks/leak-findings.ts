import { type LinkSegment, layer2Domain, queriersOf } from "@dyetrace/site";
import { diagnose } from "../finding/diagnosis-rule.ts";
import type { Finding } from "../finding/finding.ts";
import type { MembershipTimers } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isAtOrBelow, nodesDownTo } from "../site/source-tree.ts";
import { hiddenCauses } from "./hidden-cause.ts";
import { ownLeaveBefore } from "./leak-pattern.ts";
import { LEAK_RULES, type LeakCase, leakEvidence } from "./leak-rules.ts";
import { type LeakSighting, type StreamLeaks, streamLeaks } from "./leak-sighting.ts";
import { tableLimit } from "./table-limit.ts";

/**
 * Frames outside the wanted region accuse every switch and router on their way whose port should be closed: a
 * conjunction, not a choice, and certain as far as plan and memberships are right. Sightings with a closed port in
 * common make one finding.
 */
export function findLeaks(site: SiteIndex, streams: readonly StreamFacts[], timers: MembershipTimers): Finding[] {
  if (!streams.some((facts) => facts.bystanders.some(({ bystander }) => bystander.frames > 0))) return [];
  const planned = queriersOf(site.graph, streams[0]?.stream.source ?? "");
  const queriers = new Set(planned.map(({ node }) => site.nodeNumber.get(node) ?? -1));
  const membersOfGroup = new Map<string, Set<number>>();
  for (const facts of streams) {
    const members = membersOfGroup.get(facts.stream.group) ?? new Set();
    for (const member of facts.members) members.add(member);
    membersOfGroup.set(facts.stream.group, members);
  }
  const leaks = streams.map((facts) =>
    streamLeaks(site, facts, membersOfGroup.get(facts.stream.group) ?? facts.members, queriers, timers),
  );
  return togetherByPort(
    site,
    leaks.flatMap((leak) => leak.sightings),
  ).flatMap((sightings) => leakFinding(leakCase(site, leaks, sightings, queriers, timers)) ?? []);
}

/** Groups of sightings linked by closed ports in common; slow leaves stand apart from leaks. */
function togetherByPort(site: SiteIndex, sightings: readonly LeakSighting[]): LeakSighting[][] {
  const groups: { readonly keys: Set<string>; readonly sightings: LeakSighting[] }[] = [];
  for (const sighting of sightings) {
    const isSlow = sighting.pattern === "slow-leave";
    const keys = new Set(sighting.closedPorts.map((port) => `${isSlow} ${site.segments[port]?.from.node}`));
    const linked = groups.filter((group) => [...keys].some((key) => group.keys.has(key)));
    const merged = {
      keys: new Set([...keys, ...linked.flatMap((group) => [...group.keys])]),
      sightings: [...linked.flatMap((group) => group.sightings), sighting],
    };
    for (const group of linked) groups.splice(groups.indexOf(group), 1);
    groups.push(merged);
  }
  return groups.map((group) => group.sightings);
}

function leakCase(
  site: SiteIndex,
  leaks: readonly StreamLeaks[],
  sightings: readonly LeakSighting[],
  queriers: ReadonlySet<number>,
  timers: MembershipTimers,
): LeakCase {
  const first = sightings[0] as LeakSighting;
  const ports = [...new Set(sightings.flatMap((s) => s.closedPorts))].flatMap((port) => site.segments[port] ?? []);
  const node = ports[0]?.from.node ?? "";
  const portsOfNode = ports.filter((port) => port.from.node === node);
  const streams = new Set(sightings.map((s) => s.facts));
  const concerned = leaks.filter((leak) => streams.has(leak.facts));
  const domain = layer2Domain(site.graph, node);
  const isSlow = first.pattern === "slow-leave";
  return {
    streams: [...streams].map((facts) => facts.stream.stream),
    sightings,
    hosts: [...new Set(sightings.map((s) => s.seen.bystander.host))],
    ports,
    extent:
      portsOfNode.length > 1
        ? "node"
        : concerned.some((leak) => hasQuietPort(site, leak, node, portsOfNode))
          ? "port"
          : "node-or-port",
    isUnregistered: !isSlow && sightings.every((s) => !hasMemberDuring(site, leaks, s, domain)),
    doOthersLeak: isSlow ? null : othersLeak(site, leaks, sightings),
    hiddenCauses: isSlow
      ? []
      : hiddenCauses(site, leaks, sightings, queriers).map((cause) => ({
          ...cause,
          name: site.nodes[cause.node]?.name ?? "",
        })),
    timers,
    leaveTailMs: isSlow ? Math.max(...sightings.map(leaveTail)) : null,
    tableLimit: isSlow ? null : tableLimit(leaks, sightings),
  };
}

/**
 * A bystander that could see and saw nothing sits behind another closed port of the node, with no further closed port
 * in between that would have kept the frames from it.
 */
function hasQuietPort(
  site: SiteIndex,
  { facts, wanted, quiet }: StreamLeaks,
  node: string,
  leaking: readonly LinkSegment[],
): boolean {
  return quiet.some((one) => {
    const path = nodesDownTo(facts.tree, one.node);
    const step = path.findIndex((at) => site.segments[facts.tree.into[at] ?? -1]?.from.node === node);
    const behind = path[step];
    if (behind === undefined || wanted.isOpen[behind] === true) return false;
    const port = site.segments[facts.tree.into[behind] ?? -1];
    const staysOpen = path.slice(step + 1).every((at) => wanted.isOpen[at]);
    return staysOpen && leaking.every((other) => other.id !== port?.id);
  });
}

/** Some host of the domain was a member of the group while these frames were seen. */
function hasMemberDuring(
  site: SiteIndex,
  leaks: readonly StreamLeaks[],
  { facts, seen }: LeakSighting,
  domain: ReadonlySet<string>,
): boolean {
  const firstMs = seen.bystander.firstMs ?? Number.NEGATIVE_INFINITY;
  const lastMs = seen.bystander.lastMs ?? Number.POSITIVE_INFINITY;
  const sameGroup = leaks.filter((leak) => leak.facts.stream.group === facts.stream.group);
  const joined = sameGroup.flatMap(({ facts: { receipts, missing } }) => [
    ...receipts.map((receipt) => receipt.listener),
    ...missing,
  ]);
  return joined.some(
    ({ host, joinedFromMs, joinedToMs }) =>
      domain.has(host) &&
      site.nodeNumber.has(host) &&
      joinedFromMs < lastMs - SETTLING_MS &&
      (joinedToMs ?? Number.POSITIVE_INFINITY) > firstMs + SETTLING_MS,
  );
}

/** A join or a leave takes this long to take effect. */
const SETTLING_MS = 2_000;

/** Whether other groups, which verifiably passed the node, leak to the same bystanders. */
function othersLeak(
  site: SiteIndex,
  leaks: readonly StreamLeaks[],
  sightings: readonly LeakSighting[],
): boolean | null {
  const groups = new Set(sightings.map((s) => s.facts.stream.group));
  const hosts = new Set(sightings.map((s) => s.seen.node));
  if (groups.size > 1) return true;
  const node = site.nodeNumber.get(site.segments[sightings[0]?.closedPorts[0] ?? -1]?.from.node ?? "") ?? -1;
  const passed = leaks.filter(
    ({ facts }) =>
      !groups.has(facts.stream.group) &&
      facts.receipts.some(
        (receipt) => receipt.lostPackets < receipt.sentPackets && isAtOrBelow(facts.tree, receipt.node, node),
      ),
  );
  const watched = passed.filter((leak) => leak.quiet.some((quiet) => hosts.has(quiet.node)));
  return watched.length === 0 ? null : false;
}

function leaveTail({ facts, seen }: LeakSighting): number {
  const firstMs = seen.bystander.firstMs ?? 0;
  const leftMs = ownLeaveBefore(facts, seen.node, firstMs) ?? firstMs;
  return (seen.bystander.lastMs ?? firstMs) - leftMs;
}

function leakFinding(leak: LeakCase): Finding | null {
  const rule = diagnose(LEAK_RULES, leak);
  if (rule === null) return null;
  const ports = leak.ports.map((segment) => segment.id);
  const nodes = [...new Set(leak.ports.map((segment) => segment.from.node))];
  const isNode = leak.extent === "node" || leak.tableLimit !== null;
  const named = isNode ? [...nodes, ...ports] : leak.extent === "port" ? ports : [...ports, ...nodes.slice(0, 1)];
  const hidden = leak.hiddenCauses.slice(0, 3).map((cause) => cause.name);
  // Two nodes in a row that both forward wrongly are less likely than one member or querier that nobody told of.
  const suspects = nodes.length > 1 && !isNode ? [...hidden, ...ports, ...nodes] : [...named, ...hidden];
  return {
    kind: rule.kind,
    streams: leak.streams,
    suspects: [...new Set(suspects)],
    confidence: leakConfidence(leak),
    title: rule.title(leak),
    evidence: [...(rule.evidence?.(leak) ?? []), ...leakEvidence(leak)],
    advice: rule.advice,
    reference: rule.reference,
  };
}

function leakConfidence(leak: LeakCase): number {
  if (leak.sightings.every((s) => s.pattern === "bursts")) return 0.8;
  return leak.hiddenCauses.length > 0 ? 0.9 : 0.96;
}
