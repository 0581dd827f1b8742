import { payloadDigest } from "./payload-digest.ts";

/** Size of a transport stream packet, and its first byte (ISO/IEC 13818-1, 2.4.3.2). */
export const TS_PACKET_BYTES = 188;
export const TS_SYNC_BYTE = 0x47;
const NULL_PID = 0x1fff;
const PIDS = 8192;
const NONE = 16; // no counter value
const ELSEWHERE = -1;

/** To be shown beside `missingAtLeast`. */
export const TS_LOSS_STATEMENT =
  "At least this many packets are missing: the counter has 4 bits, so 16 lost packets of a PID in a row, or a multiple, leave no trace.";

/** Counts since the last `take`. */
export interface TsCounts {
  readonly datagrams: number;
  readonly packets: number;
  readonly nullPackets: number;
  /** Datagrams that are no whole number of packets, and packets without the sync byte. Neither is looked into further. */
  readonly misalignedDatagrams: number;
  readonly syncLosses: number;
  /** Packets whose sender marked them as damaged; their counter is not believed. */
  readonly transportErrors: number;
  /** Counter errors: places where packets are missing, out of order or repeated too often. */
  readonly continuityErrors: number;
  /** Lower bound of the missing packets: each error counts the least number of packets that explains it. */
  readonly missingAtLeast: number;
  /** Packets repeated once with the same content, as the standard permits. */
  readonly permittedRepeats: number;
  readonly announcedDiscontinuities: number;
  /** Datagrams that are byte for byte the one before: the network doubled them, so their counters are not judged. */
  readonly repeatedDatagrams: number;
  readonly pids: readonly TsPidCounts[];
}

export interface TsPidCounts {
  readonly pid: number;
  readonly packets: number;
  readonly continuityErrors: number;
  readonly missingAtLeast: number;
}

interface Pid {
  counter: number;
  /** The last packet with a payload was a repeat already, or there was none: the next may not be one. */
  isRepeatSpent: boolean;
  /** Where that packet stands in the datagram that is being read; `ELSEWHERE` once that is over. */
  lastAt: number;
  /** Its digest, from the end of its datagram on: of the packets between nobody asks. */
  last: number;
  packets: number;
  continuityErrors: number;
  missingAtLeast: number;
}

/**
 * Follows a transport stream by its continuity counters (ISO/IEC 13818-1, 2.4.3.3): 4 bits for each PID, which go up by
 * one with every packet that has a payload.
 */
export class TsFollower {
  readonly #pids = new Array<Pid | undefined>(PIDS).fill(undefined);
  readonly #previous = new Uint8Array(65_536);
  #previousLength = 0;
  #counts = noCounts();
  /** Packets that the last datagram's counters show missing before it or in it; at least. */
  missing = 0;
  /** The last datagram held null packets alone: another one like it is no copy, and nobody misses it. */
  isStuffing = false;

  /** Takes the UDP or RTP payload of one datagram. */
  record(bytes: Uint8Array, at: number, length: number): void {
    this.#counts.datagrams += 1;
    this.missing = 0;
    this.isStuffing = false;
    if (length === 0 || length % TS_PACKET_BYTES !== 0) {
      this.#counts.misalignedDatagrams += 1;
      return;
    }
    this.isStuffing = isStuffing(bytes, at, length);
    if (!this.isStuffing && this.#isRepeated(bytes, at, length)) {
      this.#counts.repeatedDatagrams += 1;
      return;
    }
    const end = at + length;
    for (let packetAt = at; packetAt < end; packetAt += TS_PACKET_BYTES) this.#recordPacket(bytes, packetAt);
    for (let packetAt = at; packetAt < end; packetAt += TS_PACKET_BYTES) this.#keepLast(bytes, packetAt);
  }

  /** @returns the counts since the last call; the counters themselves go on */
  take(): TsCounts {
    const pids: TsPidCounts[] = [];
    for (const [number, pid] of this.#pids.entries()) {
      if (pid === undefined || pid.packets === 0) continue;
      const { packets, continuityErrors, missingAtLeast } = pid;
      pids.push({ pid: number, packets, continuityErrors, missingAtLeast });
      pid.packets = 0;
      pid.continuityErrors = 0;
      pid.missingAtLeast = 0;
    }
    const counts = { ...this.#counts, pids };
    this.#counts = noCounts();
    return counts;
  }

  #isRepeated(bytes: Uint8Array, at: number, length: number): boolean {
    let isSame = length === this.#previousLength;
    for (let i = 0; isSame && i < length; i++) isSame = bytes[at + i] === this.#previous[i];
    if (isSame) return true;
    this.#previous.set(bytes.subarray(at, at + length));
    this.#previousLength = length;
    return false;
  }

  #recordPacket(bytes: Uint8Array, at: number): void {
    const counts = this.#counts;
    if (bytes[at] !== TS_SYNC_BYTE) {
      counts.syncLosses += 1;
      return;
    }
    counts.packets += 1;
    const second = bytes[at + 1] as number;
    const fourth = bytes[at + 3] as number;
    if ((second & 0x80) !== 0) {
      counts.transportErrors += 1;
      return;
    }
    const number = pidNumber(bytes, at);
    if (number === NULL_PID) {
      counts.nullPackets += 1;
      return;
    }
    const pid = this.#pidOf(number);
    pid.packets += 1;
    const hasPayload = (fourth & 0x10) !== 0;
    const hasAdaptation = (fourth & 0x20) !== 0;
    const isDiscontinuity = hasAdaptation && (bytes[at + 4] as number) > 0 && ((bytes[at + 5] as number) & 0x80) !== 0;
    const counter = fourth & 0x0f;
    if (isDiscontinuity) counts.announcedDiscontinuities += 1;
    if (pid.counter !== NONE && !isDiscontinuity) {
      if (hasPayload && counter === pid.counter) {
        if (this.#takeRepeat(pid, bytes, at)) return;
      } else {
        const expected = hasPayload ? (pid.counter + 1) & 0x0f : pid.counter;
        if (counter !== expected) this.#miss(pid, (counter - expected) & 0x0f);
      }
    }
    pid.counter = counter;
    if (!hasPayload) return;
    pid.isRepeatSpent = false;
    pid.lastAt = at;
  }

  /** The buffer is not ours beyond this datagram: of each PID's last packet a digest stays. */
  #keepLast(bytes: Uint8Array, at: number): void {
    const pid = this.#pids[pidNumber(bytes, at)];
    if (pid === undefined || pid.lastAt !== at) return;
    pid.last = packetDigest(bytes, at);
    pid.lastAt = ELSEWHERE;
  }

  /**
   * A packet with a payload and its predecessor's counter: one repeat is permitted; another is an error; with other
   * content it is no repeat, and 15 packets are missing at least.
   * @returns whether it was a repeat, so that it leaves the PID as it was
   */
  #takeRepeat(pid: Pid, bytes: Uint8Array, at: number): boolean {
    const last = pid.lastAt === ELSEWHERE ? pid.last : packetDigest(bytes, pid.lastAt);
    if (last !== packetDigest(bytes, at)) {
      this.#miss(pid, 15);
      return false;
    }
    if (pid.isRepeatSpent) this.#miss(pid, 0);
    else this.#counts.permittedRepeats += 1;
    pid.isRepeatSpent = true;
    return true;
  }

  #miss(pid: Pid, missing: number): void {
    pid.continuityErrors += 1;
    pid.missingAtLeast += missing;
    this.missing += missing;
    this.#counts.continuityErrors += 1;
    this.#counts.missingAtLeast += missing;
  }

  #pidOf(number: number): Pid {
    const known = this.#pids[number];
    if (known !== undefined) return known;
    const pid = {
      counter: NONE,
      isRepeatSpent: true,
      lastAt: ELSEWHERE,
      last: 0,
      packets: 0,
      continuityErrors: 0,
      missingAtLeast: 0,
    };
    this.#pids[number] = pid;
    return pid;
  }
}

const pidNumber = (bytes: Uint8Array, at: number): number =>
  (((bytes[at + 1] as number) & 0x1f) << 8) | (bytes[at + 2] as number);

/** Null packets differ in nothing (ISO/IEC 13818-1, 2.4.3.3), and a stream of constant rate sends many. Most datagrams end it at once. */
function isStuffing(bytes: Uint8Array, at: number, length: number): boolean {
  for (let i = at; i < at + length; i += TS_PACKET_BYTES) {
    if (bytes[i] !== TS_SYNC_BYTE || ((bytes[i + 1] as number) & 0x9f) !== 0x1f || bytes[i + 2] !== 0xff) return false;
  }
  return true;
}

/** The clock reference of a repeat may differ (2.4.3.3): 6 bytes after the flags of the adaptation field, if there. */
function packetDigest(bytes: Uint8Array, at: number): number {
  const hasClock =
    ((bytes[at + 3] as number) & 0x20) !== 0 &&
    (bytes[at + 4] as number) >= 7 &&
    ((bytes[at + 5] as number) & 0x10) !== 0;
  if (!hasClock) return payloadDigest(bytes, at, TS_PACKET_BYTES);
  return payloadDigest(bytes, at, 6) ^ payloadDigest(bytes, at + 12, TS_PACKET_BYTES - 12);
}

const noCounts = () => ({
  datagrams: 0,
  packets: 0,
  nullPackets: 0,
  misalignedDatagrams: 0,
  syncLosses: 0,
  transportErrors: 0,
  continuityErrors: 0,
  missingAtLeast: 0,
  permittedRepeats: 0,
  announcedDiscontinuities: 0,
  repeatedDatagrams: 0,
});
