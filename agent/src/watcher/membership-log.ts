import type { MembershipEvent, MembershipMessage } from "@dyetrace/wire";
import { MEMBERSHIP_HISTORY_MESSAGES, MEMBERSHIP_HISTORY_NS } from "@dyetrace/wire/membership-history";

export interface LoggedMessage {
  readonly monotonicNs: number;
  readonly direction: MembershipEvent["direction"];
  readonly message: MembershipMessage;
}

/** What was heard before, for whoever goes on with it. */
export interface MembershipHistory {
  readonly queries: readonly LoggedMessage[];
  readonly others: readonly LoggedMessage[];
}

/** How much one report carries: messages, and the group records and sources inside them. */
const MAX_MESSAGES = 1000;
const MAX_ENTRIES = 8192;

/** Membership messages heard: those of the current interval, and the last minutes for a run that is to begin. */
export class MembershipLog {
  /** Apart from each other, so that a network full of reports does not push out the few queries. */
  readonly #queries: LoggedMessage[];
  readonly #others: LoggedMessage[];
  #fresh: LoggedMessage[] = [];
  #freshEntries = 0;
  #unlisted = 0;

  constructor({ queries, others }: MembershipHistory = { queries: [], others: [] }) {
    this.#queries = [...queries];
    this.#others = [...others];
  }

  get history(): MembershipHistory {
    return { queries: this.#queries, others: this.#others };
  }

  add(monotonicNs: number, direction: MembershipEvent["direction"], message: MembershipMessage): void {
    const logged = { monotonicNs, direction, message };
    keep(message.kind === "query" || message.kind === "pim-hello" ? this.#queries : this.#others, logged);
    const entries = this.#freshEntries + entriesOf(message);
    if (this.#fresh.length >= MAX_MESSAGES || entries > MAX_ENTRIES) {
      this.#unlisted++;
      return;
    }
    this.#freshEntries = entries;
    this.#fresh.push(logged);
  }

  /** A run begins: its first report shall carry what was heard in the minutes before. */
  begin(nowNs: number): void {
    this.#fresh = [...this.recent(nowNs)];
    this.#freshEntries = this.#fresh.reduce((sum, logged) => sum + entriesOf(logged.message), 0);
    this.#unlisted = 0;
  }

  /** What was heard in the last minutes, in order of arrival. */
  recent(nowNs: number): readonly LoggedMessage[] {
    return [...this.#queries, ...this.#others]
      .filter((logged) => nowNs - logged.monotonicNs <= MEMBERSHIP_HISTORY_NS)
      .sort((a, b) => a.monotonicNs - b.monotonicNs);
  }

  /** @param startNs the run's start on the monotonic clock @returns what came since the last call, and how much more */
  take(startNs: number): { readonly membership: MembershipEvent[]; readonly unlistedMembership: number } {
    const membership = this.#fresh.map(({ monotonicNs, direction, message }) => ({
      atNs: monotonicNs - startNs,
      direction,
      message,
    }));
    const unlistedMembership = this.#unlisted;
    this.#fresh = [];
    this.#freshEntries = 0;
    this.#unlisted = 0;
    return { membership, unlistedMembership };
  }
}

function keep(history: LoggedMessage[], logged: LoggedMessage): void {
  history.push(logged);
  if (history.length > MEMBERSHIP_HISTORY_MESSAGES) history.shift();
}

function entriesOf(message: MembershipMessage): number {
  if (message.kind === "report") return message.records.reduce((sum, record) => sum + 1 + record.sources.length, 1);
  return message.kind === "query" ? 1 + message.sources.length : 1;
}
