/** Refusals of one kind, as one entry tells them. */
export interface CountedRefusals {
  readonly who: string;
  readonly from: string;
  readonly what: string;
}

interface Open {
  readonly who: string;
  readonly what: string;
  count: number;
  sinceMs: number;
  readonly addresses: Set<string>;
  waitMs: number;
  dueMs: number;
}

const FIRST_WAIT_MS = 10_000;
/** Whoever goes on for days gets an entry an hour. */
const LONGEST_WAIT_MS = 3600e3;
/** Kinds at the same time; what is more is counted together. */
const MOST_KINDS = 256;
const MOST_ADDRESSES = 1000;
const NAMED_ADDRESSES = 3;

/**
 * Keeps a flood of refusals from washing the log out: of each kind the first is written at once, and those after it are
 * counted and written together, first after 10 s and then less and less often. Time is handed in.
 */
export class RefusalCount {
  readonly #open = new Map<string, Open>();

  /**
   * @param what without anything that the refused one can choose: it is the kind that is counted
   * @returns whether it is the first of its kind for a while, and is to be written by itself
   */
  add(who: string, what: string, from: string, nowMs: number): boolean {
    const own = JSON.stringify([who, what]);
    const isOwn = this.#open.has(own) || this.#open.size < MOST_KINDS;
    const key = isOwn ? own : "";
    const known = this.#open.get(key);
    if (known === undefined) {
      const about = isOwn ? { who, what } : { who: "several", what: "was refused other things" };
      const times = { waitMs: FIRST_WAIT_MS, dueMs: nowMs + FIRST_WAIT_MS, sinceMs: nowMs };
      this.#open.set(key, { ...about, count: 0, addresses: new Set(), ...times });
      return isOwn;
    }
    known.count++;
    if (known.addresses.size < MOST_ADDRESSES) known.addresses.add(from);
    return false;
  }

  /** What is due by now. @param isEnd everything that was counted, due or not */
  take(nowMs: number, isEnd = false): readonly CountedRefusals[] {
    const due: CountedRefusals[] = [];
    for (const [key, open] of this.#open) {
      if (open.dueMs > nowMs && !isEnd) continue;
      if (open.count === 0) {
        this.#open.delete(key);
        continue;
      }
      due.push(summaryOf(open, nowMs));
      open.count = 0;
      open.addresses.clear();
      open.waitMs = Math.min(LONGEST_WAIT_MS, open.waitMs * 4);
      open.dueMs = nowMs + open.waitMs;
      open.sinceMs = nowMs;
    }
    return due;
  }
}

function summaryOf({ who, what, count, addresses, sinceMs }: Open, nowMs: number): CountedRefusals {
  const named = [...addresses].slice(0, NAMED_ADDRESSES).join(", ");
  const rest = addresses.size - NAMED_ADDRESSES;
  const orMore = addresses.size >= MOST_ADDRESSES ? " or more" : "";
  const from = rest > 0 ? `${named} and ${rest} others${orMore}` : named;
  return {
    who,
    from,
    what: `${what}, ${count} times more within ${Math.max(1, Math.round((nowMs - sinceMs) / 1000))} s`,
  };
}
