import { mergeReceipts, type StreamReceipt, StreamTracker } from "@dyetrace/measure";
import type { DecodedTestPacket, Membership, TaskStream } from "@dyetrace/wire";

/** What one stay in the group brought in one interval. */
export interface StayPart {
  readonly membership: Membership;
  readonly receipt: StreamReceipt;
}

/**
 * One stream that this host listens to, over all its stays in the group. Each stay has a tracker and receipts of its
 * own: what is sent between a leave and the next join is not lost. Times are ns after the run's start.
 */
export class ListenedStream {
  readonly stream: TaskStream;
  readonly #intervalNs: number;
  readonly #seesHostDrops: boolean;
  /** The stay that goes on; null while not joined. */
  #stay: Stay | null = null;
  /** Stays whose receipts have not all been taken. */
  #open: Stay[] = [];
  readonly #all: OpenMembership[] = [];
  #cutIndex = 0;
  #total: StreamReceipt | null = null;
  #lastArrivalNs = Number.NEGATIVE_INFINITY;

  constructor(stream: TaskStream, intervalNs: number, seesHostDrops: boolean) {
    this.stream = stream;
    this.#intervalNs = intervalNs;
    this.#seesHostDrops = seesHostDrops;
  }

  get isJoined(): boolean {
    return this.#stay !== null;
  }

  joined(joinRequestedNs: number): void {
    this.#cutUntil(joinRequestedNs);
    const membership = {
      joinRequestedNs,
      firstPacketNs: null,
      lastPacketNs: null,
      leaveRequestedNs: null,
    };
    const tracker = new StreamTracker({
      mediaRateBps: this.stream.rateBps,
      seesHostDrops: this.#seesHostDrops,
    });
    this.#stay = { membership, tracker, receipts: new Map() };
    this.#open.push(this.#stay);
    this.#all.push(membership);
  }

  /** Call after the last packets were taken in. */
  left(leaveRequestedNs: number): void {
    const stay = this.#stay;
    if (stay === null) return;
    this.#cutUntil(leaveRequestedNs);
    stay.membership.leaveRequestedNs = leaveRequestedNs;
    keep(stay, this.#cutIndex, stay.tracker.finish());
    this.#stay = null;
  }

  /** Hot path: a packet of this stream. Ignored while not joined: another stream of the socket may be. */
  take(packet: DecodedTestPacket, arrivalNs: number, ttl: number, dscp: number): void {
    const stay = this.#stay;
    if (stay === null) return;
    // A wall clock that was set back must not make arrivals run backwards.
    const atNs = Math.max(arrivalNs, this.#lastArrivalNs);
    this.#lastArrivalNs = atNs;
    if (atNs >= (this.#cutIndex + 1) * this.#intervalNs) this.#cutUntil(atNs);
    stay.tracker.record(packet.seq, packet.sentNs, atNs, packet.sizeBytes, packet.senderId, ttl, dscp);
    const membership = stay.membership;
    if (membership.firstPacketNs === null) membership.firstPacketNs = atNs;
    membership.lastPacketNs = atNs;
  }

  noteHostDrops(drops: number, arrivalNs: number): void {
    this.#stay?.tracker.noteHostDrops(drops, Math.max(arrivalNs, this.#lastArrivalNs));
  }

  /**
   * @param isLast no more calls follow: what came after the interval's end, up to the last leave, is in its parts too
   * @returns for each stay that touched interval `index`, which has ended by `toNs`, its part of it; oldest first
   */
  takeParts(index: number, toNs: number, isLast: boolean): StayPart[] {
    this.#cutUntil(toNs);
    if (this.#stay !== null && this.#cutIndex === index) keep(this.#stay, index, this.#stay.tracker.cut()); // a last, short interval
    const parts: StayPart[] = [];
    for (const { membership, receipts } of this.#open) {
      const due = [...receipts.keys()].filter((at) => at === index || (isLast && at > index));
      const [first, ...later] = due.toSorted((a, b) => a - b).flatMap((at) => receipts.get(at) ?? []);
      if (first === undefined) continue;
      const receipt = later.reduce(mergeReceipts, first);
      for (const at of due) receipts.delete(at);
      parts.push({ membership: { ...membership }, receipt });
      this.#total = this.#total === null ? receipt : mergeReceipts(this.#total, receipt);
    }
    this.#open = this.#open.filter((stay) => stay === this.#stay || stay.receipts.size > 0);
    return parts;
  }

  get total(): StreamReceipt | null {
    return this.#total;
  }

  get allMemberships(): readonly Membership[] {
    return this.#all;
  }

  /** Cuts at each interval's end up to `nowNs`, so that a packet counts in the interval in which it arrived. */
  #cutUntil(nowNs: number): void {
    for (;;) {
      const endNs = (this.#cutIndex + 1) * this.#intervalNs;
      if (endNs > nowNs) return;
      if (this.#stay !== null) keep(this.#stay, this.#cutIndex, this.#stay.tracker.cut());
      this.#cutIndex++;
    }
  }
}

type OpenMembership = { -readonly [K in keyof Membership]: Membership[K] };

interface Stay {
  readonly membership: OpenMembership;
  readonly tracker: StreamTracker;
  /** By interval. */
  readonly receipts: Map<number, StreamReceipt>;
}

function keep(stay: Stay, index: number, receipt: StreamReceipt): void {
  const earlier = stay.receipts.get(index);
  stay.receipts.set(index, earlier === undefined ? receipt : mergeReceipts(earlier, receipt));
}
