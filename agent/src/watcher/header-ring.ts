import { RECORD_HEAD_BYTES } from "@dyetrace/wire/capture/header-records";

/** No record is shorter than an Ethernet and an IPv4 header with its own head. */
const LEAST_RECORD_BYTES = RECORD_HEAD_BYTES + 34;

/** The latest frames' headers, as many as fit into room that is made once: the oldest go. Records as `header-records` has them. */
export class HeaderRing {
  readonly #bytes: Uint8Array;
  readonly #view: DataView;
  readonly #starts: Uint32Array;
  readonly #most: number;
  /** Records count up; `#first` is the oldest that is still whole, `#next` the next to come. */
  #first = 0;
  #next = 0;
  #at = 0;

  constructor(sizeBytes: number) {
    this.#bytes = new Uint8Array(sizeBytes);
    this.#view = new DataView(this.#bytes.buffer);
    this.#most = Math.ceil(sizeBytes / LEAST_RECORD_BYTES);
    this.#starts = new Uint32Array(this.#most);
  }

  /** Frames that had to make room. */
  get overwritten(): number {
    return this.#first;
  }

  get length(): number {
    return this.#next - this.#first;
  }

  /** Hot path. @param at where the frame begins in `from` @param keptBytes of it that are copied @param vlanId 0 without a tag */
  add(
    from: Uint8Array,
    at: number,
    keptBytes: number,
    originalBytes: number,
    atNs: number,
    vlanId: number,
    isOutbound: boolean,
  ): void {
    const needBytes = RECORD_HEAD_BYTES + keptBytes;
    if (needBytes > this.#bytes.length) return;
    if (this.#at + needBytes > this.#bytes.length) {
      this.#makeRoom(this.#at, this.#bytes.length);
      this.#at = 0;
    }
    this.#makeRoom(this.#at, this.#at + needBytes);
    if (this.#next - this.#first === this.#most) this.#first++;
    const view = this.#view;
    const start = this.#at;
    view.setFloat64(start, atNs, true);
    view.setUint16(start + 8, keptBytes, true);
    view.setUint16(start + 10, Math.max(keptBytes, Math.min(originalBytes, 65_535)), true);
    view.setUint16(start + 12, vlanId, true);
    view.setUint8(start + 14, isOutbound ? 1 : 0);
    view.setUint8(start + 15, 0);
    const bytes = this.#bytes;
    for (let i = 0; i < keptBytes; i++) bytes[start + RECORD_HEAD_BYTES + i] = from[at + i] as number;
    this.#starts[this.#next % this.#most] = start;
    this.#next++;
    this.#at = start + needBytes;
  }

  /** Records of these instants, oldest first, as many as fit. @returns bytes of whole records, and how many were left out */
  read(fromNs: number, toNs: number, mostBytes: number): { readonly bytes: Uint8Array; readonly leftOut: number } {
    const pieces: Uint8Array[] = [];
    let [sizeBytes, leftOut] = [0, 0];
    for (let record = this.#first; record < this.#next; record++) {
      const start = this.#starts[record % this.#most] as number;
      const atNs = this.#view.getFloat64(start, true);
      if (atNs < fromNs || atNs > toNs) continue;
      const lengthBytes = RECORD_HEAD_BYTES + this.#view.getUint16(start + 8, true);
      if (sizeBytes + lengthBytes > mostBytes) leftOut++;
      else {
        pieces.push(this.#bytes.subarray(start, start + lengthBytes));
        sizeBytes += lengthBytes;
      }
    }
    const bytes = new Uint8Array(sizeBytes);
    let at = 0;
    for (const piece of pieces) {
      bytes.set(piece, at);
      at += piece.length;
    }
    return { bytes, leftOut };
  }

  /** Hot path: the oldest records that lie in these bytes are given up. */
  #makeRoom(from: number, to: number): void {
    while (this.#first < this.#next) {
      const start = this.#starts[this.#first % this.#most] as number;
      const end = start + RECORD_HEAD_BYTES + this.#view.getUint16(start + 8, true);
      if (end <= from || start >= to) return;
      this.#first++;
    }
  }
}
