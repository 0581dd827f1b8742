import type { FindingFamily } from "../finding/finding-row.ts";
import { portName, vlanPhrase } from "../finding/place-wording.ts";
import { count, nameList, seconds, verb } from "../finding/wording.ts";
import type { LeakCase } from "./leak-case.ts";

/** What every finding about a leak names, shows and doubts. */
export const LEAK_FAMILY: FindingFamily<LeakCase> = {
  streams: ({ streams }) => streams,
  suspects: leakSuspects,
  witnesses: ({ hosts }) => hosts,
  evidence: leakEvidence,
  confidence: (leak, ofRow) => Math.min(ofRow, mostConfidence(leak)),
};

/** Frames that come and go may be a spanning tree's doing and no port's. Our estimate, held against the truth by the bench. */
const BURSTS_CONFIDENCE = 0.8;
/** Something that the plan does not know would explain it as well. Our estimate, held against the truth by the bench. */
const HIDDEN_CAUSE_CONFIDENCE = 0.85;

/** Nobody knows whether the leave was lost on its way, or whether the port did not close. Our estimate, no source. */
const UNTOLD_LEAVE_CONFIDENCE = 0.8;

function mostConfidence({ sightings, hiddenCauses, slowLeave }: LeakCase): number {
  if (slowLeave !== null) return slowLeave.isHeard || slowLeave.isUnheard ? 1 : UNTOLD_LEAVE_CONFIDENCE;
  if (sightings.every(({ pattern }) => pattern === "bursts")) return BURSTS_CONFIDENCE;
  return hiddenCauses.length > 0 ? HIDDEN_CAUSE_CONFIDENCE : 1;
}

function leakSuspects(leak: LeakCase): string[] {
  const { ports, extent, hiddenCauses, slowLeave } = leak;
  const portIds = ports.map((segment) => segment.id);
  if (slowLeave?.isUnsaid === true) return [...leak.hosts];
  // Before the port that stays open comes the way on which the leave went unheard.
  if (slowLeave?.isUnheard === true) return [...slowLeave.way, ...portIds];
  const nodes = nodesOf(leak);
  const named = isWholeNode(leak)
    ? [...nodes, ...portIds]
    : extent === "port"
      ? portIds
      : [...portIds, ...nodes.slice(0, 1)];
  const hidden = hiddenCauses.slice(0, 3).map((cause) => cause.name);
  if (chiefCause(leak) !== null) return [...hidden, ...portIds, ...nodes];
  return [...named, ...hidden, ...(slowLeave?.isHeard === false ? slowLeave.way : [])];
}

const nodesOf = ({ ports }: LeakCase): string[] => [...new Set(ports.map((segment) => segment.from.node))];
const isWholeNode = ({ extent, tableLimit }: LeakCase): boolean => extent === "node" || tableLimit !== null;

/**
 * Two nodes in a row that both forward wrongly are less likely than one member or querier that nobody told of, unless
 * nobody at all has joined: then they do what is their default.
 */
export function chiefCause(leak: LeakCase): LeakCase["hiddenCauses"][number] | null {
  const isUnlikely = nodesOf(leak).length > 1 && !isWholeNode(leak) && !leak.isUnregistered;
  return isUnlikely ? (leak.hiddenCauses[0] ?? null) : null;
}

export const fromNode = (leak: LeakCase): string => leak.ports[0]?.from.node ?? "an unknown node";
const firstPort = (leak: LeakCase): string => {
  const [port] = leak.ports;
  return port === undefined ? "an unknown port" : `${portName(port.from)}${vlanPhrase([port.id])}`;
};
export const place = (leak: LeakCase): string => (leak.extent === "node" ? fromNode(leak) : firstPort(leak));
export const seen = (leak: LeakCase): string => `${nameList(leak.hosts)} saw it without being a member`;
export const leaking = ({ streams }: LeakCase): string => `${nameList(streams)} ${verb(streams, "leak")}`;

/** What every leak shows. */
function leakEvidence(leak: LeakCase): string[] {
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
