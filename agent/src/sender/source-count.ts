import type { SenderInterval } from "@dyetrace/wire";
import type { SendRefusal } from "../sockets/packet-out.ts";
import type { PacingRecord } from "./pacing-record.ts";

export type CountedRefusal = Exclude<SendRefusal, "pending">;

/** Stalls that one report keeps: the longest ones. */
const STALLS = 32;

export interface Stall {
  readonly atNs: number;
  readonly durationNs: number;
}

/** What a source did in one stretch of time. */
export class SourceCount {
  readonly pacing: PacingRecord;
  skippedPackets = 0;
  readonly #streamId: number;
  readonly #senderId: number;
  #sentPackets = 0;
  #sentBytes = 0;
  #firstSeq = -1;
  #lastSeq = -1;
  #enobufs = 0;
  #eagain = 0;
  #other = 0;
  #lastError: string | null = null;
  #stalls: Stall[] = [];

  constructor(streamId: number, senderId: number, pacing: PacingRecord) {
    this.#streamId = streamId;
    this.#senderId = senderId;
    this.pacing = pacing;
  }

  /** Hot path. */
  sent(firstSeq: number, packets: number, bytes: number): void {
    if (packets === 0) return;
    if (this.#firstSeq < 0) this.#firstSeq = firstSeq;
    this.#lastSeq = firstSeq + packets - 1;
    this.#sentPackets += packets;
    this.#sentBytes += bytes;
  }

  refused(why: CountedRefusal, errorName: string): void {
    if (why === "enobufs") this.#enobufs++;
    else if (why === "eagain") this.#eagain++;
    else {
      this.#other++;
      this.#lastError = errorName;
    }
  }

  stalled(stall: Stall): void {
    this.#stalls.push(stall);
    if (this.#stalls.length <= STALLS) return;
    let shortest = 0;
    for (let i = 1; i < this.#stalls.length; i++) {
      if ((this.#stalls[i]?.durationNs ?? 0) < (this.#stalls[shortest]?.durationNs ?? 0)) shortest = i;
    }
    this.#stalls.splice(shortest, 1);
  }

  report(): SenderInterval {
    return {
      streamId: this.#streamId,
      senderId: this.#senderId,
      sentPackets: this.#sentPackets,
      sentBytes: this.#sentBytes,
      firstSeq: this.#firstSeq < 0 ? null : this.#firstSeq,
      lastSeq: this.#lastSeq < 0 ? null : this.#lastSeq,
      sendErrors: { enobufs: this.#enobufs, eagain: this.#eagain, other: this.#other },
      lastError: this.#lastError,
      skippedPackets: this.skippedPackets,
      pacing: this.pacing.report(),
      stalls: [...this.#stalls],
    };
  }

  clear(): void {
    this.#sentPackets = 0;
    this.#sentBytes = 0;
    this.#firstSeq = -1;
    this.#lastSeq = -1;
    this.#enobufs = 0;
    this.#eagain = 0;
    this.#other = 0;
    this.#lastError = null;
    this.skippedPackets = 0;
    this.#stalls = [];
    this.pacing.clear();
  }
}
