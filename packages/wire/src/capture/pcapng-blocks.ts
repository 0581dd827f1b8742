import { type CapturedFrame, type CaptureStep, LONGEST_FRAME_BYTES } from "./captured-frame.ts";

/** The newer format of capture files: blocks in sections. See draft-ietf-opsawg-pcapng. */
export const PCAPNG_SECTION = 0x0a0d0d0a;
const INTERFACE = 1;
const OLD_PACKET = 2;
const SIMPLE_PACKET = 3;
const ENHANCED_PACKET = 6;
const ORDER_MAGIC = 0x1a2b3c4d;
const TIME_RESOLUTION = 9;
const TIME_OFFSET = 14;
/** No capture has more; a file that goes on declaring them would fill the memory. */
const MOST_INTERFACES = 1024;
/** Room for the longest frame and its options. */
const LONGEST_BLOCK_BYTES = LONGEST_FRAME_BYTES + 65_536;

interface CaptureInterface {
  readonly linkType: number;
  readonly snapBytes: number;
  readonly perSecond: number;
  readonly offsetSeconds: number;
}

export class PcapngBlocks {
  #isLittle = true;
  #interfaces: CaptureInterface[] = [];

  /** @param at where the next block begins; `view` is valid up to its end */
  step(view: DataView, at: number): CaptureStep {
    const restBytes = view.byteLength - at;
    if (restBytes < 12) return { kind: "more" };
    const isSection = view.getUint32(at) === PCAPNG_SECTION; // the same in either order
    if (isSection && !this.#takeOrder(view.getUint32(at + 8))) {
      return { kind: "broken", sentence: "a section has no byte order that is known" };
    }
    const little = this.#isLittle;
    const lengthBytes = view.getUint32(at + 4, little);
    if (lengthBytes < (isSection ? 28 : 12) || lengthBytes % 4 !== 0) {
      return { kind: "broken", sentence: `a block says that it has ${lengthBytes} bytes` };
    }
    const type = view.getUint32(at, little);
    const isWanted = isSection || [INTERFACE, OLD_PACKET, SIMPLE_PACKET, ENHANCED_PACKET].includes(type);
    // What is not read may be as long as it likes: whoever reads the file skips it.
    if (!isWanted) return { kind: "took", lengthBytes, frame: null };
    if (lengthBytes > LONGEST_BLOCK_BYTES) {
      return { kind: "broken", sentence: `a block says that it has ${lengthBytes} bytes` };
    }
    if (restBytes < lengthBytes) return { kind: "more" };
    if (view.getUint32(at + lengthBytes - 4, little) !== lengthBytes) {
      return { kind: "broken", sentence: "a block's two lengths differ" };
    }
    const body = new DataView(view.buffer, view.byteOffset + at + 8, lengthBytes - 12);
    if (isSection) this.#interfaces = [];
    else if (type === INTERFACE) return this.#takeInterface(body, lengthBytes);
    else return this.#takePacket(type, body, lengthBytes);
    return { kind: "took", lengthBytes, frame: null };
  }

  /** @param magic as a big-endian reader sees it */
  #takeOrder(magic: number): boolean {
    if (magic !== ORDER_MAGIC && magic !== 0x4d3c2b1a) return false;
    this.#isLittle = magic !== ORDER_MAGIC;
    return true;
  }

  #takeInterface(body: DataView, lengthBytes: number): CaptureStep {
    if (body.byteLength < 8) return { kind: "broken", sentence: "an interface's block is too short" };
    if (this.#interfaces.length >= MOST_INTERFACES) {
      return { kind: "broken", sentence: `a section has more than ${MOST_INTERFACES} interfaces` };
    }
    const little = this.#isLittle;
    let [perSecond, offsetSeconds] = [1e6, 0];
    for (let at = 8; at + 4 <= body.byteLength; ) {
      const [code, optionBytes] = [body.getUint16(at, little), body.getUint16(at + 2, little)];
      if (code === 0 || at + 4 + optionBytes > body.byteLength) break;
      if (code === TIME_RESOLUTION && optionBytes >= 1) {
        const resolution = body.getUint8(at + 4);
        perSecond = (resolution & 0x80) === 0 ? 10 ** resolution : 2 ** (resolution & 0x7f);
      }
      if (code === TIME_OFFSET && optionBytes >= 8) offsetSeconds = Number(body.getBigInt64(at + 4, little));
      at += 4 + Math.ceil(optionBytes / 4) * 4;
    }
    const linkType = body.getUint16(0, little);
    this.#interfaces.push({ linkType, snapBytes: body.getUint32(4, little), perSecond, offsetSeconds });
    return { kind: "took", lengthBytes, frame: null };
  }

  #takePacket(type: number, body: DataView, lengthBytes: number): CaptureStep {
    const little = this.#isLittle;
    const headBytes = type === SIMPLE_PACKET ? 4 : 20;
    if (body.byteLength < headBytes) return { kind: "broken", sentence: "a packet's block is too short" };
    const id = type === SIMPLE_PACKET ? 0 : type === OLD_PACKET ? body.getUint16(0, little) : body.getUint32(0, little);
    const of = this.#interfaces[id];
    if (of === undefined)
      return { kind: "broken", sentence: `a packet is of interface ${id}, which nothing describes` };
    const originalBytes = body.getUint32(headBytes - 4, little);
    const roomBytes = body.byteLength - headBytes;
    const keptBytes =
      type === SIMPLE_PACKET
        ? Math.min(originalBytes, of.snapBytes === 0 ? roomBytes : of.snapBytes, roomBytes)
        : body.getUint32(12, little);
    if (keptBytes > roomBytes) {
      return { kind: "broken", sentence: `a packet of ${keptBytes} bytes does not fit into its block` };
    }
    const frame: CapturedFrame = {
      linkType: of.linkType,
      timeUs: type === SIMPLE_PACKET ? null : timeUs(body.getUint32(4, little), body.getUint32(8, little), of),
      bytes: new Uint8Array(body.buffer, body.byteOffset + headBytes, keptBytes),
      originalBytes: Math.max(originalBytes, keptBytes),
    };
    return { kind: "took", lengthBytes, frame };
  }
}

function timeUs(high: number, low: number, { perSecond, offsetSeconds }: CaptureInterface): number | null {
  const time = ((high * 2 ** 32 + low) / perSecond + offsetSeconds) * 1e6;
  return Number.isFinite(time) && Math.abs(time) < 2 ** 53 ? time : null;
}
