import { mergeFollowed, mergeReceipts, type StreamReceipt, StreamTracker } from "@dyetrace/measure";
import type { DecodedTestPacket, Followed, Membership, TaskStream } from "@dyetrace/wire";
import { StreamFollower } from "./stream-follower.ts";

/** What one stay in the group brought in one interval. */
export interface StayPart {
  readonly membership: Membership;
  readonly receipt: StreamReceipt;
  /** Of a stream of others; null of our own. */
  readonly followed: Followed | null;
  /** Of a stay that is watched alone: whether some program on this host had joined. Null: this agent had. */
  readonly isHostMember: boolean | null;
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

  /** What a stay is that this agent did not join: the host's own, or nobody's. Null while it has joined, or there is no stay. */
  get isHostMember(): boolean | null {
    return this.#stay?.isHostMember ?? null;
  }

  /** @param isHostMember null: by this agent; else it is watched alone, and this host is a member by some other program or not */
  joined(joinRequestedNs: number, isHostMember: boolean | null = null): void {
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
    const { production } = this.stream;
    const follower = production === undefined ? null : new StreamFollower(production, this.#seesHostDrops);
    this.#stay = { membership, tracker, follower, receipts: new Map(), isHostMember };
    this.#open.push(this.#stay);
    this.#all.push(membership);
  }

  /** Call after the last packets were taken in. */
  left(leaveRequestedNs: number): void {
    const stay = this.#stay;
    if (stay === null) return;
    this.#cutUntil(leaveRequestedNs);
    stay.membership.leaveRequestedNs = leaveRequestedNs;
    keep(stay, this.#cutIndex, stay.tracker.finish(), stay.follower?.cut(true) ?? null);
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

  /** Hot path: a packet of a stream of others, of which `present` bytes stand at `at`. */
  follow(
    bytes: Uint8Array,
    at: number,
    present: number,
    length: number,
    arrivalNs: number,
    ttl: number,
    dscp: number,
    source: () => string | null,
  ): void {
    const stay = this.#stay;
    if (stay === null || stay.follower === null) return;
    const atNs = Math.max(arrivalNs, this.#lastArrivalNs);
    this.#lastArrivalNs = atNs;
    if (atNs >= (this.#cutIndex + 1) * this.#intervalNs) this.#cutUntil(atNs);
    stay.tracker.record(stay.follower.packets, atNs, atNs, length, 0, ttl, dscp);
    stay.follower.take(bytes, at, present, length, atNs, ttl, dscp, source);
    const membership = stay.membership;
    if (membership.firstPacketNs === null) membership.firstPacketNs = atNs;
    membership.lastPacketNs = atNs;
  }

  noteHostDrops(drops: number, arrivalNs: number): void {
    const atNs = Math.max(arrivalNs, this.#lastArrivalNs);
    this.#stay?.tracker.noteHostDrops(drops, atNs);
    this.#stay?.follower?.noteHostDrops(drops, atNs);
  }

  /**
   * @param isLast no more calls follow: what came after the interval's end, up to the last leave, is in its parts too
   * @returns for each stay that touched interval `index`, which has ended by `toNs`, its part of it; oldest first
   */
  takeParts(index: number, toNs: number, isLast: boolean): StayPart[] {
    this.#cutUntil(toNs);
    if (this.#stay !== null && this.#cutIndex === index) this.#cut(this.#stay, index); // a last, short interval
    const parts: StayPart[] = [];
    for (const { membership, receipts, isHostMember } of this.#open) {
      const due = [...receipts.keys()].filter((at) => at === index || (isLast && at > index));
      const [first, ...later] = due.toSorted((a, b) => a - b).flatMap((at) => receipts.get(at) ?? []);
      if (first === undefined) continue;
      const { receipt, followed } = later.reduce(joinCuts, first);
      for (const at of due) receipts.delete(at);
      parts.push({ membership: { ...membership }, receipt, followed, isHostMember });
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
      if (this.#stay !== null) this.#cut(this.#stay, this.#cutIndex);
      this.#cutIndex++;
    }
  }

  #cut(stay: Stay, index: number): void {
    keep(stay, index, stay.tracker.cut(), stay.follower?.cut(false) ?? null);
  }
}

type OpenMembership = { -readonly [K in keyof Membership]: Membership[K] };

interface Stay {
  readonly membership: OpenMembership;
  readonly tracker: StreamTracker;
  /** Of a stream of others. */
  readonly follower: StreamFollower | null;
  /** By interval. */
  readonly receipts: Map<number, Cut>;
  readonly isHostMember: boolean | null;
}

type Cut = Pick<StayPart, "receipt" | "followed">;

function keep(stay: Stay, index: number, receipt: StreamReceipt, followed: Followed | null): void {
  const earlier = stay.receipts.get(index);
  stay.receipts.set(index, earlier === undefined ? { receipt, followed } : joinCuts(earlier, { receipt, followed }));
}

const joinCuts = (a: Cut, b: Cut): Cut => ({
  receipt: mergeReceipts(a.receipt, b.receipt),
  followed:
    a.followed === null || b.followed === null ? (a.followed ?? b.followed) : mergeFollowed(a.followed, b.followed),
});
