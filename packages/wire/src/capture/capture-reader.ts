import type { CapturedFrame, CaptureProblem } from "./captured-frame.ts";
import { isPcap, PcapRecords } from "./pcap-records.ts";
import { PCAPNG_SECTION, PcapngBlocks } from "./pcapng-blocks.ts";

/**
 * Reads a capture file piece by piece: both formats, both byte orders, any resolution of time. It keeps no more than the
 * piece in hand and the beginning of one frame. Where the file is damaged it stops and says where; what came before stands.
 */
export class CaptureReader {
  #format: PcapRecords | PcapngBlocks | null = null;
  #waiting: Uint8Array<ArrayBuffer> = new Uint8Array(0);
  /** Position in the file of the first byte that waits. */
  #offset = 0;
  #skipBytes = 0;
  #problem: CaptureProblem | null = null;

  /** Null while nothing is wrong; `format` is null until the first bytes have come. */
  get problem(): CaptureProblem | null {
    return this.#problem;
  }

  get format(): "pcap" | "pcapng" | null {
    if (this.#format === null) return null;
    return this.#format instanceof PcapRecords ? "pcap" : "pcapng";
  }

  /** @param take is given each frame that is complete now */
  read(piece: Uint8Array, take: (frame: CapturedFrame) => void): void {
    if (this.#problem !== null) return;
    const bytes = this.#joined(piece);
    const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
    let at = 0;
    for (;;) {
      const skipped = Math.min(this.#skipBytes, bytes.byteLength - at);
      this.#skipBytes -= skipped;
      at += skipped;
      if (this.#skipBytes > 0) break;
      if (this.#format === null && !this.#takeFormat(view, at)) break;
      const step = this.#format?.step(view, at) ?? { kind: "more" };
      if (step.kind === "more") break;
      if (step.kind === "broken") {
        this.#problem = { offset: this.#offset + at, sentence: step.sentence };
        break;
      }
      if (step.frame !== null) take(step.frame);
      this.#skipBytes = step.lengthBytes;
    }
    this.#offset += at;
    this.#waiting = bytes.slice(at);
  }

  /** The file has ended. */
  end(): void {
    if (this.#problem !== null) return;
    if (this.#format === null) this.#problem = { offset: 0, sentence: "this is no capture file" };
    else if (this.#waiting.byteLength > 0 || this.#skipBytes > 0) {
      this.#problem = { offset: this.#offset, sentence: "the file ends in the middle of a record" };
    }
  }

  #joined(piece: Uint8Array): Uint8Array {
    if (this.#waiting.byteLength === 0) return piece;
    const bytes = new Uint8Array(this.#waiting.byteLength + piece.byteLength);
    bytes.set(this.#waiting);
    bytes.set(piece, this.#waiting.byteLength);
    return bytes;
  }

  /** @returns false while too little has come, or where this is none */
  #takeFormat(view: DataView, at: number): boolean {
    if (view.byteLength - at < 4) return false;
    const magic = view.getUint32(at);
    if (isPcap(magic)) this.#format = new PcapRecords();
    else if (magic === PCAPNG_SECTION) this.#format = new PcapngBlocks();
    else this.#problem = { offset: 0, sentence: "this is no capture file" };
    return this.#format !== null;
  }
}
