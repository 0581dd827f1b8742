import type { PayloadLook } from "@dyetrace/wire/inventory/sight-schema";

const TS_PACKET_BYTES = 188; // ISO/IEC 13818-1, as the next
const TS_SYNC_BYTE = 0x47;
const TEST_MAGIC = 0x64796574; // "dyet", as packages/wire lays test packets out
const RTP_HEADER_BYTES = 12; // RFC 3550 section 5.1
/** A source whose numbers go up by no more than this from packet to packet is one (loss on the way included). */
const MOST_STEP = 64;
/** Two sources at a time, as of two cameras on one group, are told apart. */
const SOURCES = 2;
/** Of the packets, so many must look like it: a few may be control packets of the same protocol. */
const MOSTLY = 0.8;
const FEWEST_PACKETS = 3;

/**
 * Tells by the first bytes of its packets what each of many senders sends. Two bits make a payload look like RTP, so it is RTP
 * only where one source's numbers go up from packet to packet.
 */
export class PayloadLooks {
  readonly #packets: Uint32Array;
  readonly #test: Uint32Array;
  readonly #ts: Uint32Array;
  readonly #rtp: Uint32Array;
  readonly #rtpTs: Uint32Array;
  /** Packets with the form of RTP, from a source that was not known yet. */
  readonly #rtpBegun: Uint32Array;
  readonly #ssrc: Float64Array;
  readonly #seq: Uint16Array;

  constructor(senders: number) {
    this.#packets = new Uint32Array(senders);
    this.#test = new Uint32Array(senders);
    this.#ts = new Uint32Array(senders);
    this.#rtp = new Uint32Array(senders);
    this.#rtpTs = new Uint32Array(senders);
    this.#rtpBegun = new Uint32Array(senders);
    this.#ssrc = new Float64Array(senders * SOURCES).fill(-1);
    this.#seq = new Uint16Array(senders * SOURCES);
  }

  /** Hot path. @param at where the payload begins @param captured bytes of it that are there @param sizeBytes all that it had */
  take(sender: number, view: DataView, at: number, captured: number, sizeBytes: number): void {
    add(this.#packets, sender);
    if (captured >= 4 && view.getUint32(at) === TEST_MAGIC) add(this.#test, sender);
    else if (isTransportStream(view, at, captured, sizeBytes)) add(this.#ts, sender);
    else if (captured >= RTP_HEADER_BYTES) this.#takeRtp(sender, view, at, captured, sizeBytes);
  }

  /** @returns null where too little came to tell */
  lookOf(sender: number): PayloadLook | null {
    const packets = this.#packets[sender] as number;
    if (packets < FEWEST_PACKETS) return null;
    const isMostly = (count: number): boolean => count >= MOSTLY * packets;
    if (isMostly(this.#test[sender] as number)) return "test";
    if (isMostly(this.#ts[sender] as number)) return "ts";
    const rtp = (this.#rtp[sender] as number) + Math.min(SOURCES, this.#rtpBegun[sender] as number);
    if (!isMostly(rtp) || this.#rtp[sender] === 0) return "other";
    return (this.#rtpTs[sender] as number) >= MOSTLY * rtp ? "rtp-with-ts" : "rtp";
  }

  #takeRtp(sender: number, view: DataView, at: number, captured: number, sizeBytes: number): void {
    const first = view.getUint8(at);
    const type = view.getUint8(at + 1);
    if (first >> 6 !== 2 || (type >= 200 && type <= 204)) return; // RTCP (RFC 3551 section 6)
    const seq = view.getUint16(at + 2);
    const ssrc = view.getUint32(at + 8);
    const headerBytes = RTP_HEADER_BYTES + 4 * (first & 0x0f);
    const slot = sender * SOURCES;
    const isFirst = this.#ssrc[slot] === ssrc;
    const known = isFirst || this.#ssrc[slot + 1] === ssrc ? slot + (isFirst ? 0 : 1) : -1;
    if (known < 0) {
      add(this.#rtpBegun, sender);
      // The older of the two makes room.
      this.#ssrc[slot + 1] = this.#ssrc[slot] as number;
      this.#seq[slot + 1] = this.#seq[slot] as number;
      this.#ssrc[slot] = ssrc;
      this.#seq[slot] = seq;
    } else {
      const step = (seq - (this.#seq[known] as number)) & 0xffff;
      this.#seq[known] = seq;
      if (step === 0 || step > MOST_STEP) return;
      add(this.#rtp, sender);
    }
    if (isTransportStream(view, at + headerBytes, captured - headerBytes, sizeBytes - headerBytes))
      add(this.#rtpTs, sender);
  }
}

/** Whole packets, of which those that were captured begin with the sync byte (RFC 2250 section 2). */
function isTransportStream(view: DataView, at: number, captured: number, sizeBytes: number): boolean {
  if (sizeBytes < TS_PACKET_BYTES || sizeBytes % TS_PACKET_BYTES !== 0 || captured < 1) return false;
  for (let offset = 0; offset < captured; offset += TS_PACKET_BYTES) {
    if (view.getUint8(at + offset) !== TS_SYNC_BYTE) return false;
  }
  return true;
}

const add = (counts: Uint32Array, at: number): void => {
  counts[at] = (counts[at] as number) + 1;
};
