import type { GroupRecord, MembershipEvent, MembershipMessage, StoryMark } from "@dyetrace/wire";

type SaidKind = Exclude<StoryMark["kind"], "asks-join" | "asks-leave">;

/** What one message says of one group, as one agent heard it or put it on the wire. Times in ms after the run's start. */
export interface Said {
  readonly agent: string;
  readonly isOwn: boolean;
  readonly atMs: number;
  readonly kind: SaidKind;
  readonly family: 4 | 6;
  readonly protocol: "igmp" | "mld" | "pim";
  readonly version: number | null;
  readonly vlan: number | null;
  readonly group: string | null;
  readonly sources: readonly string[];
  readonly record: GroupRecord["type"] | null;
  /** Of the sender. */
  readonly address: string;
  readonly mac: string;
  readonly maxResponseMs: number | null;
  readonly queryIntervalMs: number | null;
  readonly robustness: number | null;
  /** A query's S flag: routers and switches that hear it leave their timers alone. */
  readonly isSuppressing: boolean;
  /** Several alike are told as one: how many, the last of them, and the longest time from one to the next. */
  readonly count: number;
  readonly lastMs: number;
  readonly longestGapMs: number;
}

/** @param groups what is told of; queries about all groups are told too. Empty for what everybody ignores. */
export function saidIn(
  agent: string,
  { atNs, direction, message }: MembershipEvent,
  groups: ReadonlySet<string>,
): Said[] {
  if (message.kind === "malformed" || message.checksum === "bad") return [];
  const atMs = atNs / 1e6;
  const base: Said = {
    agent,
    isOwn: direction === "out",
    atMs,
    kind: "hello",
    family: message.family,
    protocol: message.protocol,
    version: "version" in message ? message.version : null,
    vlan: message.vlanId,
    group: null,
    sources: [],
    record: null,
    address: message.source,
    mac: message.sourceMac,
    maxResponseMs: null,
    queryIntervalMs: null,
    robustness: null,
    isSuppressing: false,
    count: 1,
    lastMs: atMs,
    longestGapMs: 0,
  };
  return partsOf(message)
    .filter(({ group }) => group == null || groups.has(group))
    .map((part) => ({ ...base, ...part }));
}

function partsOf(message: MembershipMessage): Partial<Said>[] {
  switch (message.kind) {
    case "malformed":
      return [];
    case "pim-hello":
      return [{ kind: "hello" }];
    case "leave":
      return [{ kind: "leave", group: message.group }];
    case "query": {
      const { group, sources, maxResponseMs, queryIntervalMs, robustness } = message;
      const kind = group === null ? "query" : "group-query";
      const isSuppressing = message.suppressesRouters === true;
      return [{ kind, group, sources, maxResponseMs, queryIntervalMs, robustness, isSuppressing }];
    }
    case "report": {
      const hasRecords = message.version >= (message.protocol === "igmp" ? 3 : 2);
      return message.records.flatMap(({ type, group, sources }) => {
        const kind = kindOfRecord(type, sources.length);
        if (kind === null) return [];
        return [hasRecords ? { kind, group, sources, record: type } : { kind, group }];
      });
    }
  }
}

/** RFC 3376, section 4.2.12: current-state records answer a query, the others say that something changed. */
function kindOfRecord(type: GroupRecord["type"], sources: number): SaidKind | null {
  switch (type) {
    case "IS_IN":
    case "IS_EX":
      return "report";
    case "TO_EX":
    case "ALLOW":
      return "join";
    case "TO_IN":
      return sources === 0 ? "leave" : "join";
    case "BLOCK":
      return "leave";
    case "unknown":
      return null;
  }
}

/** Of one that repeats another at another time. */
export const keyOfSaid = (said: Said): string =>
  [
    said.isOwn,
    said.kind,
    said.family,
    said.version,
    said.vlan,
    said.group,
    said.sources.join(","),
    said.record,
    said.address,
    said.mac,
    said.maxResponseMs,
    said.queryIntervalMs,
    said.robustness,
    said.isSuppressing,
  ].join(" ");
