import { type CaptureStep, LONGEST_FRAME_BYTES } from "./captured-frame.ts";

/** Magic numbers as a big-endian reader sees them: microseconds and nanoseconds, big-endian and little-endian. */
const MAGICS: ReadonlyMap<number, { readonly isLittle: boolean; readonly perSecond: number }> = new Map([
  [0xa1b2c3d4, { isLittle: false, perSecond: 1e6 }],
  [0xd4c3b2a1, { isLittle: true, perSecond: 1e6 }],
  [0xa1b23c4d, { isLittle: false, perSecond: 1e9 }],
  [0x4d3cb2a1, { isLittle: true, perSecond: 1e9 }],
]);
const FILE_HEADER_BYTES = 24;
const RECORD_HEADER_BYTES = 16;

export const isPcap = (magic: number): boolean => MAGICS.has(magic);

/** The older format of capture files: a header, then one record after another. See draft-ietf-opsawg-pcap. */
export class PcapRecords {
  #isLittle = true;
  #perSecond = 1e6;
  #linkType: number | null = null;

  /** @param at where the next record begins; `view` is valid up to its end */
  step(view: DataView, at: number): CaptureStep {
    if (this.#linkType === null) return this.#readFileHeader(view, at);
    if (view.byteLength - at < RECORD_HEADER_BYTES) return { kind: "more" };
    const little = this.#isLittle;
    const keptBytes = view.getUint32(at + 8, little);
    const originalBytes = view.getUint32(at + 12, little);
    if (keptBytes > LONGEST_FRAME_BYTES || originalBytes > 2 ** 31) {
      return { kind: "broken", sentence: `a record says that it has ${keptBytes} of ${originalBytes} bytes` };
    }
    if (view.byteLength - at - RECORD_HEADER_BYTES < keptBytes) return { kind: "more" };
    const bytes = new Uint8Array(view.buffer, view.byteOffset + at + RECORD_HEADER_BYTES, keptBytes);
    const timeUs = view.getUint32(at, little) * 1e6 + (view.getUint32(at + 4, little) / this.#perSecond) * 1e6;
    return {
      kind: "took",
      lengthBytes: RECORD_HEADER_BYTES + keptBytes,
      frame: { linkType: this.#linkType, timeUs, bytes, originalBytes: Math.max(originalBytes, keptBytes) },
    };
  }

  #readFileHeader(view: DataView, at: number): CaptureStep {
    if (view.byteLength - at < FILE_HEADER_BYTES) return { kind: "more" };
    const magic = MAGICS.get(view.getUint32(at));
    if (magic === undefined) return { kind: "broken", sentence: "this is no capture file" };
    this.#isLittle = magic.isLittle;
    this.#perSecond = magic.perSecond;
    this.#linkType = view.getUint32(at + 20, magic.isLittle) & 0xffff; // above it: whether frames have their FCS
    return { kind: "took", lengthBytes: FILE_HEADER_BYTES, frame: null };
  }
}
