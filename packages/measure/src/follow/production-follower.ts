import type { NameBlock } from "./name-block.ts";
import { NameList } from "./name-list.ts";
import { payloadDigest } from "./payload-digest.ts";
import type { RtpFlowPart } from "./rtp-flow.ts";
import { RtpFlows } from "./rtp-flows.ts";
import { TsFlow, type TsFlowCounts } from "./ts-flow.ts";

/** How a stream's packets are to be named; null: by what they look like. */
export type FollowFormat = "rtp" | "mpeg-ts" | "any" | null;

/** Packets that bear no RTP number: named by a digest of their payload. */
export interface DigestFlowPart {
  readonly packets: number;
  readonly bytes: number;
  readonly names: NameBlock | null;
  /** Where they are a transport stream. */
  readonly ts: TsFlowCounts | null;
}

export interface ProductionPart {
  readonly rtp: readonly RtpFlowPart[];
  readonly digest: DigestFlowPart;
}

/**
 * Follows somebody else's stream at one host, without keeping anything of its payload: RTP sources by their sequence
 * numbers, all else by digests, transport streams by their counters and clocks beside that.
 */
export class ProductionFollower {
  readonly #rtp: RtpFlows | null;
  readonly #readsTs: boolean;
  readonly #names: NameList;
  #ts: TsFlow | null = null;
  #packets = 0;
  #bytes = 0;

  /** @param namesPerInterval of packets that bear no number */
  constructor(format: FollowFormat, namesPerInterval: number, seesHostDrops: boolean) {
    this.#rtp = format === null || format === "rtp" ? new RtpFlows(seesHostDrops) : null;
    this.#readsTs = format !== "any";
    this.#names = new NameList(namesPerInterval);
  }

  /** Hot path. @param length of the payload, of which `present` bytes stand at `at`; @param ttl, dscp -1 if unknown */
  take(
    bytes: Uint8Array,
    at: number,
    present: number,
    length: number,
    arrivalNs: number,
    ttl: number,
    dscp: number,
  ): void {
    if (this.#rtp?.record(bytes, at, present, length, arrivalNs, ttl, dscp) === true) return;
    this.#packets += 1;
    this.#bytes += length;
    let missing = 0;
    if (this.#readsTs && bytes[at] === 0x47 && TsFlow.isTransportStream(bytes, at, present)) {
      this.#ts ??= new TsFlow();
      missing = this.#ts.record(bytes, at, present, arrivalNs);
      // Stuffing can't be told apart, and nobody misses it: it has no name, so that it is neither lost nor a copy.
      if (this.#ts.isStuffing) return;
    }
    this.#names.add(payloadDigest(bytes, at, present), arrivalNs, missing);
  }

  noteHostDrops(drops: number, arrivalNs: number): void {
    this.#rtp?.noteHostDrops(drops, arrivalNs);
  }

  /** @param isLast nothing is held back any more. @returns what is new since the last cut */
  cut(isLast: boolean): ProductionPart {
    const part = {
      rtp: this.#rtp?.cut(isLast) ?? [],
      digest: { packets: this.#packets, bytes: this.#bytes, names: this.#names.take(), ts: this.#ts?.take() ?? null },
    };
    this.#packets = 0;
    this.#bytes = 0;
    return part;
  }
}
