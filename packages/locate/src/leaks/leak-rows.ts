import { type FindingRule, having, rowsOf } from "../finding/finding-row.ts";
import { suspectPhrase } from "../finding/place-wording.ts";
import { count, nameList, seconds, verb } from "../finding/wording.ts";
import { membershipMs } from "../membership/querier-timing.ts";
import { familyOf, protocolOf } from "../run/address-family.ts";
import type { LeakCase } from "./leak-case.ts";
import { chiefCause, fromNode, LEAK_FAMILY, leaking, place, seen } from "./leak-family.ts";

const row = rowsOf(LEAK_FAMILY);

/** That no query came is seen where agents listen for them, not at the switches that flood. Our estimate, no source. */
const UNASKED_CONFIDENCE = 0.9;

/** Whose queries would keep the leaking groups in their place. */
const protocol = ({ sightings }: LeakCase): string => protocolOf(familyOf(sightings[0]?.facts.stream.group ?? ""));

/** "for up to 12.3 s". */
const tail = ({ sightings, leaveTailMs }: LeakCase): string =>
  `for ${sightings.length === 1 ? "" : "up to "}${seconds(leaveTailMs ?? 0)}`;
const keptComing = (leak: LeakCase): string =>
  `${nameList(leak.streams)} kept coming to ${nameList(leak.hosts)} ${tail(leak)}`;
const leaveTimes = ({ timers }: LeakCase): string =>
  `A leave takes effect after the last member query time, here ${seconds(timers.lastMemberMs)}; a membership that nobody ends lasts ${seconds(membershipMs(timers))}.`;

export const LEAK_ROWS: readonly FindingRule<LeakCase>[] = [
  row({
    kind: "slow-leave",
    match: (leak) => (leak.slowLeave?.isUnsaid === true ? leak : null),
    title: (leak) => `${keptComing(leak)} after ${leak.hosts.length === 1 ? "it" : "they"} had left without a word`,
    evidence: (leak) => [
      `No leave message went out of ${nameList(leak.hosts)}: IGMPv1 has none, and in IGMPv2 and MLDv1 only the last host that reported has to send one.`,
      leaveTimes(leak),
    ],
    advice:
      "See which version these hosts speak and why: an older querier presses hosts into its version, and so does a setting of the host.",
    reference: "RFC 2236, sections 3 and 4; RFC 3376, section 7.2.1; RFC 2710, section 4",
  }),
  row({
    kind: "slow-leave",
    match: (leak) => (leak.slowLeave?.isUnheard === true ? leak : null),
    title: (leak) =>
      `${keptComing(leak)} after the leave: nobody asked there for further members, so the leave was lost on its way to the querier, or the question on its way back`,
    evidence: (leak) => [
      `${nameList(leak.hosts)} sent the leave, and heard no query about the group after it.`,
      leaveTimes(leak),
    ],
    advice:
      "Follow the leave from this host to the querier: an access point or a switch on the way that keeps or drops it, a filter. See then whether the querier's group-specific query comes back.",
    reference: "RFC 3376, sections 6.4.2 and 8.8; RFC 4541, section 2.1.1",
  }),
  row({
    kind: "slow-leave",
    match: (leak) => having(leak, "leaveTailMs"),
    title: (leak) => `${keptComing(leak)} after the leave, through ${place(leak)}`,
    evidence: (leak) => [
      leak.slowLeave?.isHeard === true
        ? "A query about the group came after the leave, so the leave was heard."
        : "Nobody could tell whether a query about the group came after the leave, so it may have been lost on its way.",
      leaveTimes(leak),
    ],
    advice:
      "See whether the leave reaches the querier and whether it asks with a group-specific query. No querier, a static entry, version 1 of the protocol, or a filtered leave all make leaves wait for the time-out.",
    reference: "RFC 3376, sections 8.8 and 8.4",
  }),
  row({
    kind: "leaks",
    match: (leak) => having(leak, "queriesStopAt"),
    title: (leak) =>
      `${protocol(leak)} queries stop ${suspectPhrase(leak.queriesStopAt, leak.queriesStopOn)}: none came to ${nameList(leak.hosts)} ${leak.quietMs === null ? "from the first packet to the first frame" : `in the last ${seconds(leak.quietMs)} before the first frame`} there, and ${leaking(leak)} out of ${place(leak)}`,
    evidence: (leak) => [
      `${nameList(leak.hosts)} heard no ${protocol(leak)} query ${leak.quietMs === null ? "between the first packet and the first frame" : `in the ${seconds(leak.quietMs)} before the first frame`} that came there.`,
      "A switch that hears no query lets memberships run out or takes it that there is no querier, and many then flood.",
    ],
    suspects: ({ queriesStopAt }) => queriesStopAt,
    confidence: () => UNASKED_CONFIDENCE,
    advice:
      "See why general queries do not get through: a querier that fell silent, a filter, a trunk that drops them. Once they come again, hosts report and the flood ends by itself.",
    reference: "RFC 4541, section 2.1.1; RFC 3376, section 8.4",
  }),
  row({
    kind: "leaks",
    match: (leak) => having(leak, "tableLimit"),
    title: (leak) =>
      `The group table of ${fromNode(leak)} gives out between ${leak.tableLimit.held} and ${count(leak.tableLimit.tooMany, "group")}: from then on it floods all of them, and ${nameList(leak.hosts)} ${verb(leak.hosts, "see")} groups without being a member`,
    evidence: ({ tableLimit }) => [
      `${tableLimit.quietBefore} groups had been flowing without a leak; all of them leak from ${seconds(tableLimit.atMs)} on, as group number ${tableLimit.tooMany} of this run was joined.`,
      "Groups of others that the switch holds as well take room in the same table.",
    ],
    advice:
      "Look up how many groups this switch can hold and how many it holds; use fewer groups, or a switch with a larger table. Some switches go on flooding until snooping is turned on again.",
    reference: "RFC 4541, section 2.1.1; the size is the maker's choice",
  }),
  row({
    kind: "leaks",
    match: (leak) => {
      const chief = chiefCause(leak);
      return chief === null ? null : { ...leak, chief };
    },
    title: (leak) =>
      `${leak.chief.name} may ${leak.chief.role === "member" ? "be a member" : "have a querier or router"} that the plan does not know: ${leaking(leak)} out of ${place(leak)}, and ${seen(leak)}`,
    advice: ({ chief: { name, role } }) =>
      role === "member"
        ? `Look on ${name} for a program that has joined the group. If there is none, two switches in a row forward what they should not: look at their group tables and router ports.`
        : `Look for queries and routers' hellos that come from ${name}. If there are none, two switches in a row forward what they should not: look at their group tables and router ports.`,
    reference: "RFC 4541, section 2.1.2",
  }),
  row({
    kind: "leaks",
    match: (leak) => (leak.isUnregistered ? leak : null),
    title: (leak) => `${leaking(leak)} out of ${place(leak)} where nobody has joined it: ${seen(leak)}`,
    evidence: ({ hasPassingMembers }) => [
      hasPassingMembers
        ? "Hosts in this layer-2 domain were members of the group in the first or last 2 s of that time alone; many switches flood such unregistered groups by default."
        : "No host in this layer-2 domain was a member of the group meanwhile; many switches flood such unregistered groups by default.",
    ],
    advice:
      "If bystanders must not get it, set the switch to send unregistered groups to router ports only, or let one host join so that the group is registered.",
    reference: "RFC 4541, section 2.1.2, rule 3",
  }),
  row({
    kind: "leaks",
    match: (leak) => (leak.sightings.every((s) => s.pattern === "late") ? leak : null),
    title: (leak) => `${leaking(leak)} out of ${place(leak)} since memberships timed out: ${seen(leak)}`,
    advice: "Look for the querier of this VLAN: without one, memberships time out and the switch floods.",
    reference: "RFC 4541, section 2.1.1; RFC 3376, section 8.4",
  }),
  row({
    kind: "leaks",
    match: (leak) => (leak.sightings.every((s) => s.pattern === "bursts") ? leak : null),
    title: (leak) => `${leaking(leak)} now and then out of ${place(leak)}: ${seen(leak)}`,
    advice:
      "Compare the times with link events: after a spanning tree change switches flood for a while. Mark ports to hosts as edge ports.",
    reference: "RFC 4541, section 2.1.1, rule 4",
  }),
  row({
    kind: "leaks",
    match: (leak) => (leak.extent === "node" ? leak : null),
    title: (leak) => `${leaking(leak)} out of several ports of ${place(leak)}: ${seen(leak)}`,
    advice:
      "See whether snooping is on for this VLAN on this switch and whether its group table is full; then whether it hears a querier at all.",
    reference: "RFC 4541, section 2.1.2",
  }),
  row({
    kind: "leaks",
    match: (leak) => leak,
    title: (leak) => `${leaking(leak)} out of ${place(leak)}: ${seen(leak)}`,
    advice:
      "Look at this port: a static group entry, a port taken for a router port, a mirror session. Other ports of the same switch tell a port's fault from a switch without snooping.",
    reference: "RFC 4541, section 2.1.2",
  }),
];
