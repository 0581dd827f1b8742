import { classifyPayload, RateFollower, RtpFollower, type RtpReceipt, TsFollower } from "@dyetrace/measure";
import type { FlowReport } from "./flow-report.ts";
import { reportOf } from "./test-flow.ts";

/**
 * Traffic of somebody else's from one source: RTP by its sequence numbers, a transport stream by its continuity counters,
 * and anything by rate and silence. The first packet says what to try; RTP counts as such once its own probation is over.
 */
export class MediaFlow {
  readonly source: string | null;
  readonly #rate: RateFollower;
  readonly #rtp: RtpFollower | null;
  readonly #ts: TsFollower | null;
  readonly #dscps = new Set<number>();
  #isRtp = false;

  constructor(source: string | null, firstPayload: Uint8Array, startNs: number) {
    this.source = source;
    const kind = classifyPayload(firstPayload);
    this.#rate = new RateFollower(startNs);
    this.#rtp = kind === "rtp" || kind === "rtp-with-ts" ? new RtpFollower({ clockHz: null }) : null;
    this.#ts = kind === "ts" || kind === "rtp-with-ts" ? new TsFollower() : null;
  }

  /** @param length bytes of the packet that stand at `at` */
  take(bytes: Uint8Array, at: number, length: number, arrivalNs: number, ttl: number, dscp: number): void {
    this.#rate.record(arrivalNs, length, ttl, dscp);
    if (dscp >= 0) this.#dscps.add(dscp);
    if (this.#rtp === null) {
      this.#ts?.record(bytes, at, length);
      return;
    }
    const verdict = this.#rtp.record(bytes, at, length, arrivalNs, ttl, dscp);
    if (verdict === "not-rtp") return;
    if (verdict !== "probation" && verdict !== "rejected") this.#isRtp = true;
    const { payloadAt, payloadBytes } = this.#rtp.header;
    this.#ts?.record(bytes, at + payloadAt, payloadBytes);
  }

  report(nowNs: number, isLast: boolean): FlowReport {
    const rtp = isLast ? this.#rtp?.finish() : this.#rtp?.cut();
    const ts = this.#ts?.take();
    const rate = this.#rate.cut(nowNs);
    const dscps = [...this.#dscps].sort((a, b) => a - b);
    this.#dscps.clear();
    const base: FlowReport = {
      kind: "other",
      name: "",
      source: this.source,
      packets: rate.packets,
      bytes: rate.receivedBytes,
      lost: null,
      isLostExact: false,
      hostLost: null,
      duplicates: null,
      reordered: null,
      longestGapNs: null,
      jitterNs: null,
      longestSilenceNs: rate.longestSilence?.durationNs ?? null,
      ttlMin: rate.ttlMin,
      ttlMax: rate.ttlMax,
      dscps,
      otherSenderPackets: null,
      senderRestarts: null,
    };
    if (rtp !== undefined && this.#isRtp) {
      const { lost, hostLost, duplicates, reordered, longestGapNs, jitterNs, otherSenderPackets, senderRestarts } =
        reportOf("rtp", "", this.source, rtp.receipt);
      const measured = {
        lost,
        hostLost,
        duplicates,
        reordered,
        longestGapNs,
        jitterNs,
        otherSenderPackets,
        senderRestarts,
      };
      return {
        ...base,
        ...measured,
        kind: ts === undefined ? "rtp" : "rtp-with-ts",
        name: nameOf(rtp),
        isLostExact: true,
      };
    }
    if (ts !== undefined) return { ...base, kind: "ts", name: `${ts.pids.length} PIDs`, lost: ts.missingAtLeast };
    return base;
  }
}

const nameOf = ({ ssrc, payloadType }: RtpReceipt): string => `SSRC ${ssrc ?? "?"} payload type ${payloadType ?? "?"}`;
