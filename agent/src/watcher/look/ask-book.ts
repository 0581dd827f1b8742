import type { MembershipMessage } from "@dyetrace/wire";
import { MOST_SIGHT_ASKS, MOST_SIGHT_QUERIERS } from "@dyetrace/wire/inventory/sight-limits";
import type { AgentSight, SightAsk } from "@dyetrace/wire/inventory/sight-schema";

interface Asked extends Omit<SightAsk, "agoNs"> {
  readonly atNs: number;
}

type Querier = AgentSight["queriers"][number];

/** Whom each host was last heard to ask for, and who queries: a bounded number of each. */
export class AskBook {
  readonly #most: number;
  readonly #asked = new Map<string, Asked>();
  readonly #queriers = new Map<string, Omit<Querier, "agoNs"> & { readonly atNs: number }>();
  #further = 0;

  constructor(most: number = MOST_SIGHT_ASKS) {
    this.#most = most;
  }

  /** What could not be written down. */
  get further(): number {
    return this.#further;
  }

  /** Messages with a bad checksum are ignored, as hosts and switches do. */
  take(message: MembershipMessage, atNs: number): void {
    if (message.kind === "malformed" || message.checksum === "bad") return;
    const { source: host, sourceMac: hardware } = message;
    switch (message.kind) {
      case "query": {
        const key = `${message.protocol} ${host}`;
        if (!this.#queriers.has(key) && this.#queriers.size >= MOST_SIGHT_QUERIERS) this.#further++;
        else
          this.#queriers.set(key, {
            address: host,
            hardware,
            protocol: message.protocol,
            version: message.version,
            atNs,
          });
        return;
      }
      case "leave":
        this.#note({ group: message.group, host, hardware, isWanted: false, atNs });
        return;
      case "report":
        for (const { type, group, sources } of message.records) {
          const isWanted = wants(type, sources.length);
          if (isWanted !== null) this.#note({ group, host, hardware, isWanted, atNs });
        }
        return;
      case "pim-hello":
        return;
    }
  }

  asks(endNs: number): SightAsk[] {
    return [...this.#asked.values()].map(({ atNs, ...asked }) => ({ ...asked, agoNs: Math.max(0, endNs - atNs) }));
  }

  queriers(endNs: number): Querier[] {
    return [...this.#queriers.values()].map(({ atNs, ...querier }) => ({
      ...querier,
      agoNs: Math.max(0, endNs - atNs),
    }));
  }

  #note(asked: Asked): void {
    const key = `${asked.group} ${asked.host} ${asked.hardware}`;
    if (!this.#asked.has(key) && this.#asked.size >= this.#most) this.#further++;
    else this.#asked.set(key, asked);
  }
}

/**
 * @returns whether a record says that its host wants the group; null where it says nothing about that
 * @see RFC 3376 section 4.2.12: INCLUDE of no source is no membership; BLOCK takes single sources away
 */
function wants(type: string, sources: number): boolean | null {
  if (type === "IS_EX" || type === "TO_EX") return true;
  if (type === "IS_IN" || type === "TO_IN") return sources > 0;
  return type === "ALLOW" ? sources > 0 : null;
}
