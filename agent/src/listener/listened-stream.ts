import { mergeReceipts, type StreamReceipt, StreamTracker } from "@dyetrace/measure";
import type { DecodedTestPacket, Membership, TaskStream } from "@dyetrace/wire";

type OpenMembership = { -readonly [K in keyof Membership]: Membership[K] };

/**
 * One stream that this host listens to, over all its stays in the group. Each stay has a tracker of its own: what is
 * sent between a leave and the next join is not lost. Times are ns after the run's start.
 */
export class ListenedStream {
  readonly stream: TaskStream;
  readonly #intervalNs: number;
  readonly #seesHostDrops: boolean;
  #tracker: StreamTracker | null = null;
  #memberships: OpenMembership[] = [];
  readonly #all: OpenMembership[] = [];
  #cutIndex = 0;
  readonly #receipts = new Map<number, StreamReceipt>();
  #total: StreamReceipt | null = null;
  #lastArrivalNs = Number.NEGATIVE_INFINITY;

  constructor(stream: TaskStream, intervalNs: number, seesHostDrops: boolean) {
    this.stream = stream;
    this.#intervalNs = intervalNs;
    this.#seesHostDrops = seesHostDrops;
  }

  get isJoined(): boolean {
    return this.#tracker !== null;
  }

  joined(joinRequestedNs: number, joinedNs: number, joinRequestedWall: string): void {
    const membership = {
      joinRequestedNs,
      joinedNs,
      joinRequestedWall,
      firstPacketNs: null,
      lastPacketNs: null,
      leaveRequestedNs: null,
    };
    this.#memberships.push(membership);
    this.#all.push(membership);
    this.#tracker = new StreamTracker({
      startNs: joinRequestedNs,
      mediaRateBps: this.stream.rateBps,
      seesHostDrops: this.#seesHostDrops,
    });
  }

  /** Call after the last packets were taken in. */
  left(leaveRequestedNs: number): void {
    const membership = this.#all.at(-1);
    if (this.#tracker === null || membership === undefined) return;
    this.#cutUntil(leaveRequestedNs);
    membership.leaveRequestedNs = leaveRequestedNs;
    this.#keep(this.#tracker.finish(leaveRequestedNs));
    this.#tracker = null;
  }

  /** Hot path: a packet of this stream. Ignored while not joined: another stream of the socket may be. */
  take(packet: DecodedTestPacket, arrivalNs: number, ttl: number, dscp: number): void {
    const tracker = this.#tracker;
    if (tracker === null) return;
    // A wall clock that was set back must not make arrivals run backwards.
    const atNs = Math.max(arrivalNs, this.#lastArrivalNs);
    this.#lastArrivalNs = atNs;
    if (atNs >= (this.#cutIndex + 1) * this.#intervalNs) this.#cutUntil(atNs);
    tracker.record(packet.seq, packet.sentNs, atNs, packet.sizeBytes, packet.senderId, ttl, dscp, -1);
    const membership = this.#all[this.#all.length - 1];
    if (membership === undefined) return;
    if (membership.firstPacketNs === null) membership.firstPacketNs = atNs;
    membership.lastPacketNs = atNs;
  }

  noteHostDrops(drops: number, arrivalNs: number): void {
    this.#tracker?.noteHostDrops(drops, Math.max(arrivalNs, this.#lastArrivalNs));
  }

  noteForeign(isMalformed: boolean): void {
    if (this.#tracker === null) return;
    if (isMalformed) this.#tracker.malformedPackets++;
    else this.#tracker.foreignPackets++;
  }

  /** @returns the receipt of interval `index`, which has ended by `toNs`; null if this host was no member in it */
  takeReceipt(index: number, toNs: number): StreamReceipt | null {
    this.#cutUntil(toNs);
    if (this.#cutIndex === index && this.#tracker !== null) this.#keep(this.#tracker.cut(toNs)); // a last, short interval
    const receipt = this.#receipts.get(index) ?? null;
    this.#receipts.delete(index);
    if (receipt !== null) this.#total = this.#total === null ? receipt : mergeReceipts(this.#total, receipt);
    return receipt;
  }

  /** @returns the stays that touched the time since the last call */
  takeMemberships(): Membership[] {
    const touched = this.#memberships.map((membership) => ({ ...membership }));
    this.#memberships = this.#memberships.filter((membership) => membership.leaveRequestedNs === null);
    return touched;
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
      if (this.#tracker !== null) this.#keep(this.#tracker.cut(endNs));
      this.#cutIndex++;
    }
  }

  #keep(receipt: StreamReceipt): void {
    const earlier = this.#receipts.get(this.#cutIndex);
    this.#receipts.set(this.#cutIndex, earlier === undefined ? receipt : mergeReceipts(earlier, receipt));
  }
}
