import { type StreamReceipt, StreamTracker } from "@dyetrace/measure";
import type { DecodedTestPacket } from "@dyetrace/wire";
import type { FlowKind, FlowReport } from "./flow-report.ts";

/** A test stream of whatever run, measured by its own numbers. */
export class TestFlow {
  readonly runIdHi: number;
  readonly runIdLo: number;
  readonly streamId: number;
  readonly #source: string | null;
  readonly #tracker: StreamTracker;

  constructor(packet: DecodedTestPacket, source: string | null, seesHostDrops: boolean) {
    this.runIdHi = packet.runIdHi;
    this.runIdLo = packet.runIdLo;
    this.streamId = packet.streamId;
    this.#source = source;
    const mediaRateBps = packet.intervalNs === 0 ? null : (packet.sizeBytes * 8e9) / packet.intervalNs;
    this.#tracker = new StreamTracker({ mediaRateBps, seesHostDrops });
  }

  /** Hot path. */
  take(packet: DecodedTestPacket, arrivalNs: number, ttl: number, dscp: number): void {
    this.#tracker.record(packet.seq, packet.sentNs, arrivalNs, packet.sizeBytes, packet.senderId, ttl, dscp);
  }

  noteHostDrops(drops: number, arrivalNs: number): void {
    this.#tracker.noteHostDrops(drops, arrivalNs);
  }

  /** @param isLast nothing is held back any more: what is missing is lost */
  report(isLast: boolean): FlowReport {
    const receipt = isLast ? this.#tracker.finish() : this.#tracker.cut();
    const hex = (word: number): string => word.toString(16).padStart(8, "0");
    const name = `run ${hex(this.runIdHi)}${hex(this.runIdLo)} stream ${this.streamId}`;
    return reportOf("test", name, this.#source, receipt);
  }
}

export function reportOf(kind: FlowKind, name: string, source: string | null, receipt: StreamReceipt): FlowReport {
  return {
    kind,
    name,
    source,
    packets: receipt.received,
    bytes: receipt.receivedBytes,
    lost: receipt.lost,
    isLostExact: true,
    hostLost: receipt.hostLost,
    duplicates: receipt.duplicates,
    reordered: receipt.reordered,
    longestGapNs: receipt.longestGap?.durationNs ?? null,
    jitterNs: receipt.jitterNs,
    longestSilenceNs: receipt.longestSilence?.durationNs ?? null,
    ttlMin: receipt.ttlMin,
    ttlMax: receipt.ttlMax,
    dscps: receipt.dscpSeen.map(([dscp]) => dscp),
    otherSenderPackets: receipt.otherSenderPackets,
    senderRestarts: receipt.senderRestarts,
  };
}
