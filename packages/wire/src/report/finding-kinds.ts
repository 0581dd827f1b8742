import type { FindingKindFacts } from "./finding-kind-facts.ts";

/**
 * Every kind of finding. `FindingKind` is the keys of this table, so a kind that is renamed or left out compiles only
 * where everybody has followed.
 */
const TABLE = {
  stops: {
    effect: "fails",
    glyph: "stop",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.98,
    label: "stops",
    meaning: "Nothing of a stream comes past this place.",
  },
  "group-specific": {
    effect: "fails",
    glyph: "stop",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.98,
    label: "group specific",
    meaning: "One group stops at this place while other groups pass it.",
  },
  "source-specific": {
    effect: "fails",
    glyph: "stop",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.98,
    label: "source specific",
    meaning: "What one source sends stops at this place while another source's packets pass it.",
  },
  "rendezvous-point": {
    effect: "fails",
    glyph: "stop",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.98,
    label: "rendezvous point",
    meaning: "A router brings on what was joined with its source and not what was joined without one.",
  },
  "size-limited": {
    effect: "fails",
    glyph: "stop",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.98,
    label: "size limited",
    meaning: "Packets above some size stop at this place and smaller ones pass it.",
  },
  "ttl-too-small": {
    effect: "fails",
    glyph: "stop",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "TTL too small",
    meaning: "The source sends with a TTL that ends before it reaches these listeners.",
  },
  "scope-too-small": {
    effect: "fails",
    glyph: "stop",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "scope too small",
    meaning: "No router forwards the group, whatever the TTL, and these listeners sit behind one.",
  },
  "ages-out": {
    effect: "fails",
    glyph: "stop",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.98,
    label: "ages out",
    meaning: "A stream ends at a listener, or comes and goes there, because its membership is not renewed in time.",
  },
  "leave-cuts-neighbour": {
    effect: "fails",
    glyph: "stop",
    compared: "presence",
    restsOnLeaves: true,
    confidence: 0.98,
    label: "leave cuts neighbour",
    meaning: "When one host leaves, another listener behind the same port loses the stream.",
  },
  "host-side-block": {
    effect: "fails",
    glyph: "stop",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "host side block",
    meaning: "Packets come to the network card of a listening host, and the host keeps them from the program.",
  },
  "source-not-sending": {
    effect: "fails",
    glyph: "stop",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.97,
    label: "source not sending",
    meaning: "The source sent nothing, so the silence is not the network's.",
  },
  "source-stalled": {
    effect: "blames-host",
    glyph: "thin",
    compared: "note",
    restsOnLeaves: false,
    confidence: 0.97,
    label: "source stalled",
    meaning: "The source paused: all listeners wait at the same time and no number is missing.",
  },
  loses: {
    effect: "fails",
    glyph: "thin",
    compared: "figures",
    restsOnLeaves: false,
    confidence: 0.96,
    label: "loses",
    meaning: "Packets are lost at this place, all the time or for a while.",
  },
  "rate-limited": {
    effect: "fails",
    glyph: "thin",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.96,
    label: "rate limited",
    meaning: "A stream passes this place whole up to some rate, and above it only so much comes through.",
  },
  "host-side-loss": {
    effect: "blames-host",
    glyph: "thin",
    compared: "note",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "host side loss",
    meaning: "A listening host itself dropped packets that the network had delivered.",
  },
  leaks: {
    effect: "fails",
    glyph: "seep",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.96,
    label: "leaks",
    meaning: "A stream leaves through a port behind which nobody has joined it.",
  },
  "slow-leave": {
    effect: "fails",
    glyph: "seep",
    compared: "figures",
    restsOnLeaves: true,
    confidence: 0.96,
    label: "slow leave",
    meaning: "A stream keeps coming to a host long after the host has left.",
  },
  "no-querier": {
    effect: "fails",
    glyph: "fault",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "no querier",
    meaning: "Nobody asks for memberships, so they run out or the switches flood.",
  },
  "two-queriers": {
    effect: "fails",
    glyph: "fault",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "two queriers",
    meaning: "Two queriers ask at the same time, where an election should have left one.",
  },
  "converted-to-unicast": {
    effect: "informs",
    glyph: "fact",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.9,
    label: "converted to unicast",
    meaning: "Packets reach a listener in frames that are addressed to it alone, which on radio is often wanted.",
  },
  "dscp-rewritten": {
    effect: "informs",
    glyph: "fact",
    compared: "presence",
    restsOnLeaves: false,
    confidence: 0.9,
    label: "DSCP rewritten",
    meaning: "Packets arrive with another DSCP than they were sent with.",
  },
  "foreign-traffic": {
    effect: "informs",
    glyph: "fact",
    compared: "note",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "foreign traffic",
    meaning: "Somebody else sends to a group of this run.",
  },
  "plan-mismatch": {
    effect: "undecided",
    glyph: "doubt",
    compared: "note",
    restsOnLeaves: false,
    confidence: 0.95,
    label: "plan mismatch",
    meaning: "What was measured can't be on a site as the plan describes it.",
  },
  inconclusive: {
    effect: "undecided",
    glyph: "doubt",
    compared: "note",
    restsOnLeaves: false,
    confidence: 0.5,
    label: "inconclusive",
    meaning: "What was measured does not name a cause.",
  },
} as const satisfies Readonly<Record<string, FindingKindFacts>>;

export type FindingKind = keyof typeof TABLE;

export const FINDING_KINDS: Readonly<Record<FindingKind, FindingKindFacts>> = TABLE;

/** In the order of the table: what stops, what thins out, what leaks, what is wrong besides, what is only told. */
export const FINDING_KIND_NAMES: readonly FindingKind[] = Object.keys(TABLE) as FindingKind[];

/**
 * The facts of a kind that may be another version's, as in a stored report: what this version does not know is in doubt
 * rather than anything worse.
 */
export function findingKindFacts(kind: string): FindingKindFacts {
  if (Object.hasOwn(TABLE, kind)) return FINDING_KINDS[kind as FindingKind];
  return {
    effect: "undecided",
    glyph: "doubt",
    compared: "note",
    restsOnLeaves: false,
    confidence: 0.5,
    label: kind.replaceAll("-", " "),
    meaning: "A kind of finding that this version does not know.",
  };
}
