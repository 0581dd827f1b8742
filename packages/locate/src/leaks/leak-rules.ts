import type { LinkSegment } from "@dyetrace/site";
import type { DiagnosisRule } from "../finding/diagnosis-rule.ts";
import { portName, vlanPhrase } from "../finding/place-wording.ts";
import { count, nameList, seconds } from "../finding/wording.ts";
import type { MembershipTimers } from "../run/run-observations.ts";
import type { HiddenCause } from "./hidden-cause.ts";
import type { LeakSighting } from "./leak-sighting.ts";
import type { TableLimit } from "./table-limit.ts";

/** Frames where they should not be, that have a closed port in common. */
export interface LeakCase {
  readonly streams: readonly string[];
  readonly sightings: readonly LeakSighting[];
  readonly hosts: readonly string[];
  /** Ports that forwarded although they should be closed; the first is where the stream left the wanted region. */
  readonly ports: readonly LinkSegment[];
  /** Whether the whole node leaks, one port of it, or nobody can say; about the first port's node. */
  readonly extent: "node" | "port" | "node-or-port";
  /** Nobody in the layer-2 domain of that node has joined the group. */
  readonly isUnregistered: boolean;
  /** Whether other groups leak at the same place: null when none was watched there. */
  readonly doOthersLeak: boolean | null;
  readonly hiddenCauses: readonly (HiddenCause & { readonly name: string })[];
  readonly timers: MembershipTimers;
  /** The longest that frames came after the host's own leave, null unless that is the pattern. */
  readonly leaveTailMs: number | null;
  /** Set when the leak began as one more group was joined. */
  readonly tableLimit: TableLimit | null;
}

const fromNode = (leak: LeakCase): string => leak.ports[0]?.from.node ?? "an unknown node";
const firstPort = (leak: LeakCase): string => {
  const [port] = leak.ports;
  return port === undefined ? "an unknown port" : `${portName(port.from)}${vlanPhrase([port.id])}`;
};
const place = (leak: LeakCase): string => (leak.extent === "node" ? fromNode(leak) : firstPort(leak));
const seen = (leak: LeakCase): string => `${nameList(leak.hosts)} saw it without having joined`;

/** `between 16 and 17 groups`. */
const limitPhrase = ({ tableLimit }: LeakCase): string =>
  `between ${tableLimit?.held ?? 0} and ${count(tableLimit?.tooMany ?? 0, "group")}`;

export const LEAK_RULES: readonly DiagnosisRule<LeakCase>[] = [
  {
    kind: "slow-leave",
    when: (leak) => leak.leaveTailMs !== null,
    title: (leak) =>
      `${nameList(leak.streams)} kept coming to ${nameList(leak.hosts)} for ${seconds(leak.leaveTailMs ?? 0)} after the leave, through ${firstPort(leak)}`,
    evidence: (leak) => [
      `A leave takes effect after the last member query time, here ${seconds(leak.timers.lastMemberMs)}; a membership that nobody ends lasts ${seconds(leak.timers.robustness * leak.timers.queryIntervalMs + leak.timers.queryResponseMs)}.`,
    ],
    advice:
      "See whether the leave reaches the querier and whether it asks with a group-specific query. No querier, a static entry, version 1 of the protocol, or a filtered leave all make leaves wait for the time-out.",
    reference: "RFC 3376, sections 8.8 and 8.4",
  },
  {
    kind: "leaks",
    when: (leak) => leak.tableLimit !== null,
    title: (leak) =>
      `The group table of ${fromNode(leak)} gives out ${limitPhrase(leak)}: from then on it floods all of them, and ${nameList(leak.hosts)} sees what it has not joined`,
    evidence: ({ tableLimit }) => [
      `${tableLimit?.quietBefore} groups had been flowing without a leak; all of them leak from ${seconds(tableLimit?.atMs ?? 0)} on, as group number ${tableLimit?.tooMany} of this run was joined.`,
      "Groups of others that the switch holds as well take room in the same table.",
    ],
    advice:
      "Look up how many groups this switch can hold and how many it holds; use fewer groups, or a switch with a larger table. Some switches go on flooding until snooping is turned on again.",
    reference: "RFC 4541, section 2.1.1; the size is the maker's choice",
  },
  {
    kind: "leaks",
    when: (leak) => leak.isUnregistered,
    title: (leak) => `${nameList(leak.streams)} leaks out of ${place(leak)} where nobody has joined it: ${seen(leak)}`,
    evidence: () => [
      "No host in this layer-2 domain is a member of the group; many switches flood such unregistered groups by default.",
    ],
    advice:
      "If bystanders must not get it, set the switch to send unregistered groups to router ports only, or let one host join so that the group is registered.",
    reference: "RFC 4541, section 2.1.2, rule 3",
  },
  {
    kind: "leaks",
    when: (leak) => leak.sightings.every((s) => s.pattern === "late"),
    title: (leak) => `${nameList(leak.streams)} leaks out of ${place(leak)} since memberships timed out: ${seen(leak)}`,
    advice: "Look for the querier of this VLAN: without one, memberships time out and the switch floods.",
    reference: "RFC 4541, section 2.1.1; RFC 3376, section 8.4",
  },
  {
    kind: "leaks",
    when: (leak) => leak.sightings.every((s) => s.pattern === "bursts"),
    title: (leak) => `${nameList(leak.streams)} leaks now and then out of ${place(leak)}: ${seen(leak)}`,
    advice:
      "Compare the times with link events: after a spanning tree change switches flood for a while. Mark ports to hosts as edge ports.",
    reference: "RFC 4541, section 2.1.1, rule 4",
  },
  {
    kind: "leaks",
    when: (leak) => leak.extent === "node",
    title: (leak) => `${nameList(leak.streams)} leaks out of several ports of ${place(leak)}: ${seen(leak)}`,
    advice:
      "See whether snooping is on for this VLAN on this switch and whether its group table is full; then whether it hears a querier at all.",
    reference: "RFC 4541, section 2.1.2",
  },
  {
    kind: "leaks",
    when: () => true,
    title: (leak) => `${nameList(leak.streams)} leaks out of ${place(leak)}: ${seen(leak)}`,
    advice:
      "Look at this port: a static group entry, a port taken for a router port, a mirror session. Other ports of the same switch tell a port's fault from a switch without snooping.",
    reference: "RFC 4541, section 2.1.2",
  },
];

/** What every leak shows. */
export function leakEvidence(leak: LeakCase): string[] {
  const lines = leak.sightings.slice(0, 5).map(({ facts, seen: { bystander } }) => {
    const from = bystander.firstMs === null ? "" : ` from ${seconds(bystander.firstMs)}`;
    const to = bystander.lastMs === null ? "" : ` to ${seconds(bystander.lastMs)}`;
    return `${bystander.host} saw ${count(bystander.frames, "frame")} of ${facts.stream.stream}${from}${to}.`;
  });
  if (leak.leaveTailMs !== null) return lines;
  const names = leak.ports.map((segment) => segment.id);
  lines.push(
    names.length > 1
      ? `Every one of these ports forwarded it although no member, router or querier lies behind: ${names.join(", ")}.`
      : `${names[0]} forwarded it although no member, router or querier lies behind.`,
  );
  if (leak.extent === "node-or-port") {
    lines.push(`No bystander watches another closed port of ${fromNode(leak)}, so its other ports may leak as well.`);
  }
  if (leak.extent === "port") lines.push(`A bystander behind another closed port of ${fromNode(leak)} saw nothing.`);
  if (leak.doOthersLeak === true) lines.push("Other groups leak there as well, which speaks for snooping being off.");
  if (leak.doOthersLeak === false) {
    lines.push(
      "Other groups do not leak there, which speaks for a full table, a static entry or a shared MAC address.",
    );
  }
  for (const { name, role } of leak.hiddenCauses.slice(0, 3)) {
    lines.push(
      role === "member"
        ? `A program on ${name} that joined the group would explain it without any fault.`
        : `A querier or router at ${name} that the plan does not know would explain it without any fault.`,
    );
  }
  return lines;
}
