import { FINDING_KINDS } from "@dyetrace/wire";
import { type FindingRule, having, rowsOf } from "../finding/finding-row.ts";
import { portName, suspectPhrase } from "../finding/place-wording.ts";
import { nameList, seconds, verb } from "../finding/wording.ts";
import { cutSuspects } from "../membership/leave-cut.ts";
import { boundaryEvidence } from "./out-of-reach.ts";
import type { StopCase } from "./stop-case.ts";
import { STOP_FAMILY } from "./stop-family.ts";
import { silentPhrase } from "./stop-wording.ts";

const row = rowsOf(STOP_FAMILY);

/** What is left of the confidence where only the time fits: nobody watched for queries. Our estimate, no source. */
const ONLY_TIME_FITS_FACTOR = 0.65;

/** What a stop is, from the most particular to the plain one. The first row that matches speaks. */
export const STOP_ROWS: readonly FindingRule<StopCase>[] = [
  row({
    kind: "leave-cuts-neighbour",
    match: (stop) => having(stop, "cut"),
    title: ({ streams, silentHosts, cut: { leave, port, afterMs } }) =>
      `${nameList(silentHosts)} behind the port ${portName(port.from)} lost ${nameList(streams)} ${seconds(afterMs)} after ${leave.host} behind the same port had left it`,
    evidence: ({ cut: { leave } }) => [
      `${leave.host} left at ${seconds(leave.atMs)}; a switch has to ask the others behind the port before it closes it.`,
    ],
    suspects: ({ cut, suspects }) => cutSuspects(cut, suspects),
    advice:
      "Cut off at once: turn fast leave off on this port, more than one host lies behind it. Cut off after about two seconds: see whether the group-specific query reaches the other hosts and their answer comes back in time.",
    reference: "RFC 3376, section 6.4.2; RFC 2236, section 3",
  }),
  row({
    kind: "ages-out",
    match: (stop) => having(stop, "ageing"),
    title: ({ streams, silentHosts, ageing }) =>
      `${nameList(streams)} ran out at ${nameList(silentHosts)} ${seconds(ageing.afterMs)} ${ageing.isLeast ? "and more " : ""}after ${ageing.since}: the membership was not renewed`,
    evidence: ({ ageing }) => ageing.evidence,
    suspects: ({ ageing, suspects }) => (ageing.suspects.length === 0 ? suspects : ageing.suspects),
    confidence: ({ ageing }) => FINDING_KINDS["ages-out"].confidence * (ageing.isCertain ? 1 : ONLY_TIME_FITS_FACTOR),
    advice:
      "Follow the queries: is there a querier with an address in this VLAN, do its queries get to these hosts, do the hosts answer? A host firewall that drops IGMP or ICMPv6 type 130 does the same.",
    reference: "RFC 3376, section 8.4 (group membership interval)",
  }),
  row({
    kind: "size-limited",
    match: (stop) => having(stop, "size"),
    title: (stop) =>
      `${nameList(stop.streams)}: packets over ${stop.size.largestPassingBytes} bytes of payload stop ${suspectPhrase(stop.suspects, stop.segments)}; ${silentPhrase(stop, "none of them")}`,
    evidence: ({ size }) => [
      `Packets of ${size.largestPassingBytes} bytes of payload pass the same way, packets of ${size.smallestFailingBytes} bytes and more do not.`,
    ],
    advice:
      "Compare the largest frame size (MTU, jumbo frame setting) of the two ports and of every tunnel between them. No router or switch reports a multicast packet that is too large, so nothing else will tell.",
    reference: "RFC 1122, section 3.2.2: no ICMP error is sent about a multicast packet",
  }),
  row({
    kind: "rendezvous-point",
    match: (stop) => having(stop, "anySourceRouters"),
    title: (stop) =>
      `${nameList(stop.streams)}, joined without a source, ${verb(stop.streams, "stop")} in ${stop.anySourceRouters[0]}, while what is joined with its source passes: no rendezvous point brings it on; ${silentPhrase(stop)}`,
    suspects: ({ anySourceRouters }) => anySourceRouters,
    evidence: ({ passingStreams, failure }) => [
      `${nameList(passingStreams)} ${passingStreams.length === 1 ? "is joined with its" : "are joined with their"} source and ${verb(passingStreams, "come")} through the same place, so cables, ports and the route back to the source are good.`,
      ...(failure.elements.some(({ kind }) => kind === "node-group")
        ? ["Only one group was joined without a source here, so a filter on that group would look the same."]
        : []),
    ],
    advice:
      "Compare on every router between source and listeners which rendezvous point it knows for this group, and whether it has a route there. Joins that name the source need none.",
    reference: "RFC 7761, sections 3.1 and 4.7; RFC 4607",
  }),
  row({
    kind: "source-specific",
    match: (stop) => having(stop, "failedSource"),
    title: (stop) => {
      const { source, passingOthers, passingOwn } = stop.failedSource;
      const what = passingOwn.length === 0 ? `what ${source} sends` : `these streams of ${source}`;
      const passing = passingOthers.length === 0 ? nameList(passingOwn) : "other sources";
      return `${nameList(stop.streams)} ${verb(stop.streams, "stop")} ${suspectPhrase(stop.suspects, stop.segments)}, which drops ${what} and lets ${passing} through; ${silentPhrase(stop)}`;
    },
    evidence: ({ failedSource: { source, passingOthers, passingOwn, areJoinedWithSource } }) => [
      ...(passingOthers.length === 0
        ? []
        : [
            `${nameList(passingOthers)} of other sources comes through the same router, so the fault concerns ${source}.`,
          ]),
      ...(passingOwn.length === 0
        ? []
        : [
            `${nameList(passingOwn)} of ${source} comes through as well. Each family has routes of its own, and what is joined without a source may come by way of the rendezvous point, where the route to the source is not checked.`,
          ]),
      ...(areJoinedWithSource && passingOwn.length > 0
        ? ["All that fails is joined with its source: a router that does not take such joins would look the same."]
        : []),
    ],
    advice:
      "Ask the router for its unicast route back to this source: if it leads out of another interface than the packets come in by, they fail the reverse-path check. If the route is right, look for an access list with the source's address, and for joins with a source: IGMPv3 or MLDv2 and the range of source-specific groups.",
    reference: "RFC 7761, section 4.2 (reverse-path check); RFC 4607",
  }),
  row({
    kind: "group-specific",
    match: (stop) => (stop.passingStreams.length > 0 ? stop : null),
    title: (stop) =>
      `${nameList(stop.streams)} alone ${verb(stop.streams, "stop")} ${suspectPhrase(stop.suspects, stop.segments)}; ${silentPhrase(stop)}`,
    evidence: ({ passingStreams, isSourceJoinOnly, failure, scopedGroups }) => [
      `${nameList(passingStreams)} ${verb(passingStreams, "come")} through the same place, so cable and port are good and the fault concerns this group.`,
      ...(isSourceJoinOnly
        ? [
            "Only what is joined with its source fails: see that querier, switches and routers all speak IGMPv3 and MLDv2.",
          ]
        : []),
      ...boundaryEvidence(scopedGroups),
      ...(failure.elements.some((e) => e.kind === "node-source")
        ? [
            "All that fails comes from one source, so the fault may as well concern the source: its route back, or a list.",
          ]
        : []),
    ],
    advice:
      "Look up the group in the group table of the switch: is the port a member, does a filter or a limit on groups per port apply, is the table full? Then see whether membership reports for this group arrive there.",
    reference: "RFC 4541, section 2.1.1",
  }),
  row({
    kind: "stops",
    match: (stop) => having(stop, "onlyVlan"),
    title: (stop) =>
      `${nameList(stop.streams)} ${verb(stop.streams, "stop")} ${suspectPhrase(stop.suspects, stop.segments)}: ${silentPhrase(stop)}`,
    evidence: ({ onlyVlan }) => [
      `What other VLANs carry comes through the same link, so it is VLAN ${onlyVlan} alone.`,
    ],
    advice:
      "Compare on both ends of the link which VLANs may cross it, and in which of them spanning tree blocks the port. Then look at the group table of the switch that sends into it, in this VLAN.",
    reference: "IEEE 802.1Q, clause 8 (member sets); RFC 4541, section 2.1",
  }),
  row({
    kind: "stops",
    match: (stop) => stop,
    title: (stop) =>
      `${nameList(stop.streams)} ${verb(stop.streams, "stop")} ${suspectPhrase(stop.suspects, stop.segments)}: ${silentPhrase(stop)}`,
    evidence: ({ smallerStreams }) =>
      smallerStreams.length === 0
        ? []
        : [
            `${nameList(smallerStreams)} ${verb(smallerStreams, "come")} through the same place with smaller packets, so the fault concerns either this group or this size; the same size in both would tell.`,
          ],
    advice:
      "Look at the link's state and error counters on both ports, then at the group table of the switch that sends into it: if the port is not listed for the group, follow the membership reports from the listeners upwards; if it is, follow the frames.",
    reference: "RFC 4541, section 2.1",
  }),
];
