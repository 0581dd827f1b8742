import type { PracticeFaultName } from "@dyetrace/wire";

/** What a fault may be put on. */
export type FaultPlace =
  | "segment"
  | "vlan-segment"
  | "network-node"
  | "forwarder"
  | "snooper"
  | "querier"
  | "switch-port"
  | "network-port"
  | "host"
  | "host-or-router"
  | "router"
  | "router-segment";

export interface FaultParameterWords {
  /** The key in a fault file. */
  readonly name: string;
  /** What to write, and what it means. */
  readonly example: string;
  readonly isNeeded: boolean;
}

export interface FaultWords {
  /** What it does on the practice site. */
  readonly does: string;
  /** What it stands for on a real site, or how it shows there. */
  readonly stands: string;
  readonly on: readonly FaultPlace[];
  readonly parameters: readonly FaultParameterWords[];
}

const may = (name: string, example: string): FaultParameterWords => ({ name, example, isNeeded: false });
const must = (name: string, example: string): FaultParameterWords => ({ name, example, isNeeded: true });
const group = may("group", "239.195.10.4: of this group alone");
const host = may("host", "of this host alone");
const share = may("share", "5 %: of the packets, at random");
const every = may("every", "20: each twentieth packet");

/** Every fault in plain words, for whoever puts one in and for whoever explains one. */
export const FAULT_WORDS: { readonly [Name in PracticeFaultName]: FaultWords } = {
  drop: {
    does: "Packets are lost here: all of them, a share, each n-th, or large ones alone.",
    stands: "A damaged cable, a port with errors, a full queue, a forgotten filter.",
    on: ["segment", "network-node"],
    parameters: [share, every, group, may("larger-than", "1400 B: packets over this size")],
  },
  duplicate: {
    does: "Packets arrive twice.",
    stands: "A loop, two ways to the same listener, or a device that sends on what it has sent on already.",
    on: ["segment"],
    parameters: [share, every, group],
  },
  reorder: {
    does: "Each n-th packet is held back and arrives after those behind it.",
    stands: "Packets of one stream that are sent over links of different length.",
    on: ["segment"],
    parameters: [must("every", "10: each tenth packet"), must("delay", "20ms: how long it is held"), group],
  },
  "rate-limit": {
    does: "No more than a rate, or a number of packets a second, gets through. The rest waits or is dropped.",
    stands: "A slow port, a policer, or storm control, which often counts multicast.",
    on: ["segment"],
    parameters: [
      may("rate", "2 Mbit/s: as a slow port does"),
      may("packets", "150: a second, as storm control does"),
      may("burst", "16 kB with a rate, 10 with packets"),
    ],
  },
  "snooping-off": {
    does: "The switch sends every group out of every port.",
    stands: "IGMP and MLD snooping switched off, by hand or after a reset to factory settings.",
    on: ["snooper"],
    parameters: [],
  },
  "table-size": {
    does: "The group table takes only so many groups. Then the switch stops snooping and floods.",
    stands: "A small switch whose group table is full.",
    on: ["snooper"],
    parameters: [must("max", "8: groups that fit")],
  },
  "drop-queries": {
    does: "Queries do not get through here. Hosts behind it are never asked, and their memberships end.",
    stands: "A filter on IGMP or MLD, or a port where queries are blocked.",
    on: ["segment"],
    parameters: [],
  },
  "drop-reports": {
    does: "Membership reports do not get through here. The switch never learns who listens.",
    stands: "A filter on IGMP or MLD, or a switch that does not hand reports on to the querier.",
    on: ["segment"],
    parameters: [host],
  },
  "drop-leaves": {
    does: "Leaves do not get through here. The stream goes on until the membership ends by itself.",
    stands: "A filter on leaves, or a device that does not send them.",
    on: ["segment"],
    parameters: [host],
  },
  "fast-leave": {
    does: "One leave ends the stream on this port at once, and nobody is asked who still listens.",
    stands: "Fast leave on a port with several listeners behind it: one leaves, and the others lose the stream.",
    on: ["switch-port"],
    parameters: [],
  },
  "igmp-version": {
    does: "The switch queries in an older version.",
    stands: "An old device that forces everybody to IGMPv2 or MLDv1. Joins that name their source do not work then.",
    on: ["snooper"],
    parameters: [may("igmp", "2 or 3"), may("mld", "1 or 2")],
  },
  "no-querier": {
    does: "Nobody asks any more who listens. Memberships end, and switches flood or stop the stream.",
    stands: "The router with the querier is switched off, or the querier is configured nowhere.",
    on: ["querier"],
    parameters: [may("silent", "true: it believes that it still queries, and the stream stops behind it")],
  },
  "second-querier": {
    does: "A device with a lower address queries too, and the querier falls silent.",
    stands: "A new box that brings a querier of its own.",
    on: ["forwarder"],
    parameters: [],
  },
  "querier-timers": {
    does: "The switch asks, or forgets, at other times than the rest of the site.",
    stands: "Timers that were changed on one switch alone.",
    on: ["snooper"],
    parameters: [
      may("query-interval", "20s: between queries"),
      may("response-interval", "2s: to answer one"),
      may("membership-interval", "4s: until a membership ends"),
      may("last-member-interval", "1s: between questions after a leave"),
    ],
  },
  "to-unicast": {
    does: "Multicast leaves this port as unicast frames, one for each listener.",
    stands: "An access point or switch that converts multicast. It is often wanted.",
    on: ["switch-port"],
    parameters: [],
  },
  "router-port": {
    does: "The port always gets every group, or never counts as leading to the querier.",
    stands: "A multicast router port that was set by hand.",
    on: ["switch-port"],
    parameters: [may("mode", "always, or never")],
  },
  mtu: {
    does: "Frames over this size do not get through the port.",
    stands: "A port with a smaller MTU than the rest of the way.",
    on: ["network-port"],
    parameters: [must("size", "1000 B: the largest that passes")],
  },
  "link-down": {
    does: "The link is down in both directions.",
    stands: "A cable that was pulled out, or a port that is switched off.",
    on: ["segment"],
    parameters: [],
  },
  hairpin: {
    does: "The switch sends frames back out of the port on which they came.",
    stands: "A port in reflective relay: the sender's own traffic comes back.",
    on: ["switch-port"],
    parameters: [],
  },
  isolated: {
    does: "The port exchanges nothing with other isolated ports.",
    stands: "Port isolation, as in guest networks. Put it on two ports to see it.",
    on: ["switch-port"],
    parameters: [],
  },
  "static-entry": {
    does: "The port gets this group, whether anybody asked for it or not.",
    stands: "A group entry that was set by hand and forgotten.",
    on: ["switch-port"],
    parameters: [must("group", "239.195.10.4: the group")],
  },
  "host-firewall": {
    does: "The host's own packet filter drops the stream, or its IGMP messages. The network is whole.",
    stands: "A firewall on the listener.",
    on: ["host"],
    parameters: [must("block", "udp, or igmp"), may("port", "48620: the UDP port")],
  },
  "reverse-path": {
    does: "Packets of one source are dropped, because the way back to it leads out of another interface.",
    stands: "A host or router with two interfaces and a route that does not match.",
    on: ["host-or-router"],
    parameters: [must("source", "the host that sends")],
  },
  "vlan-missing": {
    does: "One VLAN does not cross this link.",
    stands: "A trunk where a VLAN was forgotten.",
    on: ["vlan-segment"],
    parameters: [must("vlan", "20: its number")],
  },
  "not-forwarding": {
    does: "The router does not send this group on.",
    stands: "Multicast routing that is off on an interface, or a route that is missing.",
    on: ["router"],
    parameters: [must("group", "239.195.10.4: the group")],
  },
  "no-rendezvous-point": {
    does: "The router does not know its rendezvous point.",
    stands: "A rendezvous point that is missing from one router's configuration.",
    on: ["router"],
    parameters: [],
  },
  "access-list": {
    does: "The router drops a group, or what one host sends, on one interface.",
    stands: "An access list that is too strict.",
    on: ["router-segment"],
    parameters: [group, may("source", "the host that sends")],
  },
  "forward-delay": {
    does: "The port is plugged in anew, and spanning tree holds it before it forwards.",
    stands: "A port without the setting for hosts: the first seconds after plugging in are lost.",
    on: ["switch-port"],
    parameters: [must("hold", "4s: how long")],
  },
};
