import type { SenderInterval, TaskStream } from "@dyetrace/wire";
import { layTestPacket, stampTestPacket } from "@dyetrace/wire/test-packet";
import type { PacketOut } from "../sockets/packet-out.ts";
import { PacingRecord } from "./pacing-record.ts";
import { packetIntervalNs, SendSchedule } from "./send-schedule.ts";
import { type CountedRefusal, SourceCount } from "./source-count.ts";

/**
 * How far a source that was held up catches up: packets due within this time are sent at once, back to back; those
 * due earlier are skipped and declared, because a burst of seconds' worth would break more than it proves.
 */
export const CATCH_UP_NS = 20e6;
/** Most packets handed to the kernel at once. */
const BATCH_PACKETS = 64;

export interface SourceIdentity {
  readonly runId: string;
  readonly senderId: number;
  readonly contact: string;
}

/** One stream that this host sends: its socket, its schedule and its numbers. */
export class StreamSource {
  readonly stream: TaskStream;
  /** Called when a pending packet was answered for, so that the next one has a due time again. */
  onSettled: () => void = () => undefined;
  readonly #identity: SourceIdentity;
  readonly #out: PacketOut;
  readonly #interval: SourceCount;
  readonly #total: SourceCount;
  readonly #clock: () => number;
  #schedule: SendSchedule | null = null;
  #slot = 0;
  #seq = 0;
  #rateBps: number;
  #payloadBytes: number;
  #startNs = 0;
  #startWallHi = 0;
  #startWallLo = 0;
  /** When the one packet left that the socket has not answered for; null when there is none. */
  #pendingSinceNs: number | null = null;
  #pendingSchedule: SendSchedule | null = null;

  /** Lays out the packets; nothing is sent. @param out the stream's own socket, closed with this source */
  constructor(stream: TaskStream, identity: SourceIdentity, out: PacketOut, clock: () => number) {
    this.stream = stream;
    this.#identity = identity;
    this.#clock = clock;
    this.#rateBps = stream.rateBps;
    this.#payloadBytes = stream.payloadBytes;
    this.#interval = new SourceCount(stream.streamId, identity.senderId, new PacingRecord());
    this.#total = new SourceCount(stream.streamId, identity.senderId, new PacingRecord());
    this.#out = out;
    out.lay(this.#packet(), this.#capacity());
    out.onSettled = (errorName) => this.#settle(errorName);
  }

  get isSending(): boolean {
    return this.#schedule !== null;
  }

  get rateBps(): number {
    return this.#rateBps;
  }

  get payloadBytes(): number {
    return this.#payloadBytes;
  }

  /** @returns when the next packet is due on the monotonic clock, Infinity while not sending or while one is pending */
  get nextDueNs(): number {
    return this.#schedule === null || this.#pendingSinceNs !== null
      ? Number.POSITIVE_INFINITY
      : this.#schedule.dueNs(this.#slot);
  }

  /** @param startNs the run's start on the monotonic clock; @param startWallNs the same instant, ns since 1970 */
  anchor(startNs: number, startWallNs: bigint): void {
    this.#startNs = startNs;
    this.#startWallHi = Number(startWallNs >> 32n);
    this.#startWallLo = Number(startWallNs & 0xffffffffn);
  }

  /** Sending begins at `atNs` on the monotonic clock. Numbers go on where an earlier spell ended. */
  emit(atNs: number): void {
    this.#schedule = new SendSchedule(atNs, this.#intervalNs(), this.stream.burstPackets);
    this.#slot = 0;
  }

  stop(): void {
    this.#schedule = null;
  }

  /** Changes rate or size from `atNs` on, whether sending or not. */
  set(rateBps: number, payloadBytes: number, atNs: number): void {
    this.#rateBps = rateBps;
    this.#payloadBytes = payloadBytes;
    this.#out.lay(this.#packet(), this.#capacity());
    if (this.#schedule !== null) this.emit(atNs);
  }

  /** Hot path: sends what is due at `nowNs`, all of it that is not too late. */
  sendDue(nowNs: number): void {
    const schedule = this.#schedule;
    if (schedule === null || this.#pendingSinceNs !== null) return;
    const dueSlots = schedule.dueSlots(nowNs);
    while (this.#slot < dueSlots) {
      const sentNs = this.#clock();
      const lateNs = sentNs - schedule.dueNs(this.#slot);
      if (lateNs > CATCH_UP_NS) this.#skipLate(schedule, dueSlots, sentNs, lateNs);
      const count = Math.min(dueSlots - this.#slot, this.#out.capacity);
      this.#stamp(count, sentNs);
      const taken = this.#hand(count);
      if (taken < 0) {
        this.#pendingSinceNs = sentNs;
        this.#pendingSchedule = schedule;
        return;
      }
      this.#count(taken, sentNs, schedule);
      this.#slot += count;
      if (taken < count) this.#skip(count - taken);
    }
  }

  /** @returns what was sent since the last cut */
  cut(): SenderInterval {
    const report = this.#interval.report();
    this.#total.pacing.add(this.#interval.pacing);
    this.#interval.clear();
    return report;
  }

  /** @returns what was sent in all; the last stretch has to be cut before */
  total(): SenderInterval {
    return this.#total.report();
  }

  close(): void {
    this.stop();
    this.#out.close();
  }

  #count(taken: number, sentNs: number, schedule: SendSchedule): void {
    // The total takes this in at the next cut: one record a packet is enough here.
    for (let i = 0; i < taken; i++) this.#interval.pacing.record(sentNs - schedule.dueNs(this.#slot + i));
    this.#interval.sent(this.#seq, taken, taken * this.#payloadBytes);
    this.#total.sent(this.#seq, taken, taken * this.#payloadBytes);
    this.#seq += taken;
  }

  /** The socket's late answer for the one packet that was pending: its number is used only if it was taken. */
  #settle(errorName: string | null): void {
    const sentNs = this.#pendingSinceNs;
    this.#pendingSinceNs = null;
    if (sentNs === null || this.#pendingSchedule === null) return;
    if (errorName === null) this.#count(1, sentNs, this.#pendingSchedule);
    else {
      this.#refused("other", errorName);
      this.#skip(1);
    }
    if (this.#pendingSchedule === this.#schedule) this.#slot++;
    this.onSettled();
  }

  #refused(why: CountedRefusal, errorName: string): void {
    this.#interval.refused(why, errorName);
    this.#total.refused(why, errorName);
  }

  /** Stamps the next `count` packets with their numbers and with one time: a batch leaves within microseconds. */
  #stamp(count: number, sentNs: number): void {
    const low = this.#startWallLo + Math.round(sentNs - this.#startNs);
    const carry = Math.floor(low / 2 ** 32);
    const sentHi = this.#startWallHi + carry;
    const sentLo = low - carry * 2 ** 32;
    const { heads, headsBytes, headBytes } = this.#out;
    for (let i = 0; i < count; i++) stampTestPacket(heads, headsBytes, i * headBytes, this.#seq + i, sentHi, sentLo);
  }

  /** @returns how many the kernel took, -1 when it answers later; a refusal for want of room is tried once more, then given up and declared */
  #hand(count: number): number {
    let taken = 0;
    let hasRetried = false;
    while (taken < count) {
      const now = this.#out.send(taken, count - taken);
      taken += now;
      if (now > 0) continue;
      const { refusal, errorName } = this.#out;
      if (refusal === "pending") return -1;
      this.#refused(refusal, errorName);
      if (refusal === "other" || hasRetried) break;
      hasRetried = true;
    }
    return taken;
  }

  #skipLate(schedule: SendSchedule, dueSlots: number, nowNs: number, lateNs: number): void {
    const stall = { atNs: schedule.dueNs(this.#slot) - this.#startNs, durationNs: lateNs };
    this.#interval.stalled(stall);
    this.#total.stalled(stall);
    // The latest burst is sent however late it is: a slow stream has nothing else to send.
    const last = dueSlots - this.stream.burstPackets;
    const keepFrom = Math.max(this.#slot, Math.min(schedule.dueSlots(nowNs - CATCH_UP_NS), last));
    this.#skip(keepFrom - this.#slot);
    this.#slot = keepFrom;
  }

  #skip(count: number): void {
    this.#interval.skippedPackets += count;
    this.#total.skippedPackets += count;
  }

  #intervalNs(): number {
    return packetIntervalNs(this.#rateBps, this.#payloadBytes);
  }

  #capacity(): number {
    const caughtUp = Math.ceil(CATCH_UP_NS / this.#intervalNs());
    return Math.min(Math.max(caughtUp, this.stream.burstPackets), BATCH_PACKETS);
  }

  #packet(): Uint8Array {
    const packet = new Uint8Array(this.#payloadBytes);
    layTestPacket(new DataView(packet.buffer), 0, this.#payloadBytes, {
      runId: this.#identity.runId,
      streamId: this.stream.streamId,
      senderId: this.#identity.senderId,
      intervalNs: this.#intervalNs(),
      ttl: this.stream.ttl,
      dscp: this.stream.dscp,
      isCompanion: this.stream.companionOf !== undefined,
      contact: this.#identity.contact,
    });
    return packet;
  }
}
