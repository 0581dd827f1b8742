import type { SiteGraph } from "@dyetrace/site";
import {
  checkAgainstSchema,
  DEFAULT_UDP_PORT,
  FileMistakes,
  type PracticeFaultEntry,
  PracticeFaultFileSchema,
  parseDurationNs,
  parseRateBps,
  parseRatio,
  parseSizeBytes,
  readYamlDocument,
} from "@dyetrace/wire";
import { layPracticeSite } from "../layout/practice-layout.ts";
import { PRACTICE_TIMERS } from "../layout/practice-timers.ts";
import type { FaultGround } from "./fault-plan.ts";
import { invalid } from "./places.ts";
import { planFault } from "./plan-fault.ts";
import type { PacketChoice, PracticeFault, PracticeFaultParameters, RateLimit } from "./practice-fault.ts";

/**
 * Reads a fault file and holds it against the site plan.
 * @param file its name, for messages
 * @throws {Fault} PRACTICE_FAULT_INVALID with line and column; SITE_PLAN_INVALID if the plan cannot stand as a practice site
 */
export function loadPracticeFaults(
  text: string | Uint8Array,
  file: string,
  graph: SiteGraph,
): readonly PracticeFault[] {
  const document = readYamlDocument(text, file, "PRACTICE_FAULT_INVALID");
  const { faults: entries } = checkAgainstSchema(document, PracticeFaultFileSchema);
  const layout = layPracticeSite(graph, null);
  const declared = [...layout.site.nodes.values()].filter((node) => node.isQuerier).map(({ name }) => name);
  const queriers = declared.length === 0 ? null : declared;
  const ground: FaultGround = { graph, layout, timers: PRACTICE_TIMERS, hasIpv6: true, queriers, routing: null };
  const mistakes = new FileMistakes(document);
  const faults: PracticeFault[] = [];
  for (const [index, entry] of entries.entries()) {
    const path = ["faults", index] as const;
    let isReadable = true;
    const read: Read = (key, written, parse) => {
      if (written === undefined) return null;
      const value = mistakes.attempt([...path, key], () => parse(written));
      isReadable &&= value !== null;
      return value;
    };
    const fault = mistakes.attempt(path, () => resolve(entry, read));
    if (fault === null || !isReadable) continue;
    if (fault.atMs !== null && fault.untilMs !== null && fault.untilMs <= fault.atMs) {
      mistakes.add(
        [...path, "until"],
        "This fault would end before it begins",
        "Write a later time: both count from the start of the run",
      );
    }
    mistakes.attempt(path, () => planFault(fault, ground, "check"));
    faults.push(fault);
  }
  mistakes.throwIfAny();
  return faults;
}

/** Reads the text of one key; null where it is not written, or is a mistake that has been noted. */
type Read = <T>(key: string, written: string | undefined, parse: (text: string) => T) => T | null;

const parseMs = (text: string): number => parseDurationNs(text) / 1e6;

function resolve(entry: PracticeFaultEntry, read: Read): PracticeFault {
  const times = { atMs: read("at", entry.at, parseMs), untilMs: read("until", entry.until, parseMs) };
  const window = { on: entry.on, ...times, ...(entry.vlan === undefined ? {} : { vlan: entry.vlan }) };
  switch (entry.fault) {
    case "drop": {
      const largerThanBytes = read("larger-than", entry["larger-than"], parseSizeBytes);
      return { ...window, fault: entry.fault, ...packetChoice(entry, read), largerThanBytes };
    }
    case "duplicate":
      return { ...window, fault: entry.fault, ...packetChoice(entry, read) };
    case "reorder": {
      const delayMs = read("delay", entry.delay, parseMs) ?? 0;
      return { ...window, fault: entry.fault, group: entry.group ?? null, every: entry.every, delayMs };
    }
    case "rate-limit":
      return { ...window, fault: entry.fault, limit: rateLimit(entry, read) };
    case "table-size":
      return { ...window, fault: entry.fault, max: entry.max };
    case "drop-reports":
    case "drop-leaves":
      return { ...window, fault: entry.fault, host: entry.host ?? null };
    case "igmp-version":
      return { ...window, fault: entry.fault, igmp: entry.igmp ?? null, mld: entry.mld ?? null };
    case "no-querier":
      return { ...window, fault: entry.fault, isSilent: entry.silent ?? false };
    case "querier-timers":
      return {
        ...window,
        fault: entry.fault,
        queryIntervalMs: read("query-interval", entry["query-interval"], parseMs),
        responseIntervalMs: read("response-interval", entry["response-interval"], parseMs),
        membershipIntervalMs: read("membership-interval", entry["membership-interval"], parseMs),
        lastMemberIntervalMs: read("last-member-interval", entry["last-member-interval"], parseMs),
      };
    case "router-port":
      return { ...window, fault: entry.fault, mode: entry.mode ?? "always" };
    case "mtu":
      return { ...window, fault: entry.fault, sizeBytes: read("size", entry.size, parseSizeBytes) ?? 0 };
    case "static-entry":
      return { ...window, fault: entry.fault, group: entry.group };
    case "host-firewall":
      return { ...window, fault: entry.fault, ...firewall(entry) };
    case "not-forwarding":
      return { ...window, fault: entry.fault, group: entry.group };
    case "access-list":
      return { ...window, fault: entry.fault, group: entry.group ?? null, source: entry.source ?? null };
    case "reverse-path":
      return { ...window, fault: entry.fault, source: entry.source };
    case "forward-delay":
      return { ...window, fault: entry.fault, holdMs: read("hold", entry.hold, parseMs) ?? 0 };
    case "snooping-off":
    case "drop-queries":
    case "fast-leave":
    case "second-querier":
    case "to-unicast":
    case "link-down":
    case "hairpin":
    case "isolated":
    case "vlan-missing":
    case "no-rendezvous-point":
      return { ...window, fault: entry.fault };
  }
}

type EntryOf<Name extends PracticeFaultEntry["fault"]> = Extract<PracticeFaultEntry, { fault: Name }>;

function packetChoice({ group, share, every }: EntryOf<"drop" | "duplicate">, read: Read): PacketChoice {
  if (share !== undefined && every !== undefined)
    throw invalid('"share" and "every" exclude each other', "Write one of them");
  const ratio = read("share", share, parseRatio);
  if (every !== undefined) return { group: group ?? null, share: { kind: "every", n: every } };
  return { group: group ?? null, share: ratio === null || ratio === 1 ? { kind: "all" } : { kind: "random", ratio } };
}

function rateLimit({ rate, packets, burst }: EntryOf<"rate-limit">, read: Read): RateLimit {
  if (rate !== undefined && packets === undefined && typeof burst !== "number") {
    return {
      kind: "shape",
      rateBps: read("rate", rate, parseRateBps) ?? 0,
      burstBytes: read("burst", burst, parseSizeBytes),
    };
  }
  if (packets !== undefined && rate === undefined && typeof burst !== "string") {
    return { kind: "police", packetsPerSecond: packets, burstPackets: burst ?? null };
  }
  throw invalid(
    "A limit is either a rate, with a burst in bytes, or a number of packets per second, with a burst in packets",
    "Write rate: 2 Mbit/s, or packets: 150",
  );
}

function firewall({ block, port }: EntryOf<"host-firewall">): PracticeFaultParameters["host-firewall"] {
  if (block === "udp") return { block, port: port ?? DEFAULT_UDP_PORT };
  if (port !== undefined) throw invalid("IGMP has no ports", "Leave the port out, or write block: udp");
  return { block };
}
