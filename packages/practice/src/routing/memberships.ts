import type { GroupRecord, MembershipMessage } from "@dyetrace/wire";

/** How long a membership lasts, in milliseconds. */
export interface MembershipLives {
  readonly membershipMs: number;
  readonly lastMemberMs: number;
}

/** Until when a group is wanted: from any source, and from single ones. */
interface Wanted {
  anyUntilMs: number;
  readonly sourceUntilMs: Map<string, number>;
}

const NEVER = Number.NEGATIVE_INFINITY;

/**
 * Who is a member of what in one subnet, as a router hears it: the router's side of RFC 3376 section 6 and RFC 3810
 * section 7, without the queries, which a switch of the subnet sends. An exclude list counts as wanting every source.
 *
 * Each host is booked for itself (RFC 3376, appendix A.2, names this use of unsuppressed reports): the querying switch
 * asks only the port that a leave came from, so the members at its other ports do not answer, and another host's leave
 * must not end their membership.
 */
export class Memberships {
  readonly #lives: MembershipLives;
  /** By group, then by the reporting host's Ethernet address. */
  readonly #groups = new Map<string, Map<string, Wanted>>();

  constructor(lives: MembershipLives) {
    this.#lives = lives;
  }

  /** @returns true if the message said anything about members */
  take(message: MembershipMessage, nowMs: number): boolean {
    if (message.kind === "leave" && message.checksum === "good") {
      this.#shorten(message.group, message.sourceMac, null, nowMs);
      return true;
    }
    if (message.kind !== "report" || message.checksum !== "good") return false;
    for (const record of message.records) this.#takeRecord(record, message.sourceMac, nowMs);
    return message.records.length > 0;
  }

  /** Forgets what has run out. @returns true if anything had */
  expire(nowMs: number): boolean {
    let hasChanged = false;
    for (const [group, hosts] of this.#groups) {
      for (const [host, wanted] of hosts) {
        hasChanged = expireOne(wanted, nowMs) || hasChanged;
        if (wanted.anyUntilMs === NEVER && wanted.sourceUntilMs.size === 0) hosts.delete(host);
      }
      if (hosts.size === 0) this.#groups.delete(group);
    }
    return hasChanged;
  }

  /** As of the last `expire`. */
  wants(source: string, group: string): boolean {
    for (const wanted of this.#groups.get(group)?.values() ?? []) {
      if (wanted.anyUntilMs !== NEVER || wanted.sourceUntilMs.has(source)) return true;
    }
    return false;
  }

  get groups(): IterableIterator<string> {
    return this.#groups.keys();
  }

  #takeRecord({ type, group, sources }: GroupRecord, host: string, nowMs: number): void {
    const untilMs = nowMs + this.#lives.membershipMs;
    switch (type) {
      case "IS_EX":
      case "TO_EX":
        this.#wanted(group, host).anyUntilMs = untilMs;
        break;
      case "TO_IN":
        // Without sources it is the leave of version 3.
        this.#shorten(group, host, null, nowMs);
        for (const source of sources) this.#wanted(group, host).sourceUntilMs.set(source, untilMs);
        break;
      case "IS_IN":
      case "ALLOW":
        for (const source of sources) this.#wanted(group, host).sourceUntilMs.set(source, untilMs);
        break;
      case "BLOCK":
        for (const source of sources) this.#shorten(group, host, source, nowMs);
        break;
      case "unknown":
        break;
    }
  }

  #wanted(group: string, host: string): Wanted {
    const hosts = this.#groups.get(group) ?? new Map<string, Wanted>();
    this.#groups.set(group, hosts);
    const known = hosts.get(host);
    if (known !== undefined) return known;
    const wanted: Wanted = { anyUntilMs: NEVER, sourceUntilMs: new Map() };
    hosts.set(host, wanted);
    return wanted;
  }

  /** The host left: it is asked once more, and wants nothing if it does not answer in time. */
  #shorten(group: string, host: string, source: string | null, nowMs: number): void {
    const wanted = this.#groups.get(group)?.get(host);
    if (wanted === undefined) return;
    const untilMs = nowMs + this.#lives.lastMemberMs;
    if (source === null) {
      wanted.anyUntilMs = Math.min(wanted.anyUntilMs, untilMs);
    } else {
      const known = wanted.sourceUntilMs.get(source);
      if (known !== undefined) wanted.sourceUntilMs.set(source, Math.min(known, untilMs));
    }
  }
}

function expireOne(wanted: Wanted, nowMs: number): boolean {
  let hasChanged = false;
  if (wanted.anyUntilMs <= nowMs && wanted.anyUntilMs !== NEVER) {
    wanted.anyUntilMs = NEVER;
    hasChanged = true;
  }
  for (const [source, untilMs] of wanted.sourceUntilMs) {
    if (untilMs > nowMs) continue;
    wanted.sourceUntilMs.delete(source);
    hasChanged = true;
  }
  return hasChanged;
}
