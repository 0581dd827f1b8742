import { TS_PACKET_BYTES, TS_SYNC_BYTE } from "./ts-follower.ts";

const PAT_PID = 0;
const PIDS = 8192;
const PCR_HZ = 27e6;
/** The base has 33 bits and counts at 90 kHz (ISO/IEC 13818-1, 2.4.3.5). */
const PCR_WRAP = 2 ** 33 * 300;
const NANOSECONDS_PER_TICK = 1e9 / PCR_HZ;
/** A step of the clock by more is a jump, whether announced or not (ETSI TR 101 290, 2.3b: 100 ms). */
const JUMP_NS = 100e6;
/** Longest times between two of a kind before an error is counted (ETSI TR 101 290: 1.3, 1.5 and 2.3a; from memory). */
const PAT_WITHIN_NS = 500e6;
const PMT_WITHIN_NS = 500e6;
const PCR_WITHIN_NS = 100e6;
/** Program clocks of one stream that are followed. */
const MOST_CLOCKS = 16;
const MOST_PROGRAMS = 64;

/** Of the headers of one transport stream in one interval: how often what a receiver needs came, by arrival. */
export interface TsTimes {
  readonly pcrs: number;
  /** Longest time between two clock references of one PID; null where there were no two. */
  readonly pcrLongestNs: number | null;
  /** Intervals of more than 100 ms (TR 101 290, 2.3a). */
  readonly pcrOverdue: number;
  /** Jumps by more than 100 ms that were not announced (TR 101 290, 2.3b). */
  readonly pcrJumps: number;
  /** How far arrivals swung against one program's clock, end to end; null where it had no two references. */
  readonly pcrJitterNs: number | null;
  readonly pats: number;
  readonly patLongestNs: number | null;
  readonly patOverdue: number;
  /** Of the program that is worst. */
  readonly pmts: number;
  readonly pmtLongestNs: number | null;
  readonly pmtOverdue: number;
  /** Programs in the last table that named them; null before one came. */
  readonly programs: number | null;
}

interface Clock {
  readonly pid: number;
  ticks: number;
  atNs: number;
  /** Least and greatest of arrival less clock since the last take; NaN before the second reference. */
  least: number;
  greatest: number;
  /** Arrival less clock of the first reference. */
  origin: number;
  /** Clock without its wraps. */
  elapsed: number;
}

interface Table {
  readonly pid: number;
  lastNs: number;
}

/** Reads what the headers of a transport stream tell of time. Payload is looked into only for the program table. */
export class TsTiming {
  readonly #clocks: Clock[] = [];
  #pmts: Table[] = [];
  readonly #isPmt = new Uint8Array(PIDS);
  #patNs = Number.NaN;
  #counts = noTimes();

  /** @param length whole packets */
  record(bytes: Uint8Array, at: number, length: number, arrivalNs: number): void {
    for (let packet = at; packet + TS_PACKET_BYTES <= at + length; packet += TS_PACKET_BYTES) {
      if (bytes[packet] !== TS_SYNC_BYTE || ((bytes[packet + 1] as number) & 0x80) !== 0) continue;
      this.#packet(bytes, packet, arrivalNs);
    }
  }

  take(): TsTimes {
    const counts = this.#counts;
    this.#counts = noTimes();
    for (const clock of this.#clocks) {
      if (!Number.isNaN(clock.least)) {
        counts.pcrJitterNs = Math.max(counts.pcrJitterNs ?? 0, Math.round(clock.greatest - clock.least));
      }
      clock.least = Number.NaN;
      clock.greatest = Number.NaN;
    }
    return counts;
  }

  #packet(bytes: Uint8Array, at: number, arrivalNs: number): void {
    const second = bytes[at + 1] as number;
    const fourth = bytes[at + 3] as number;
    const pid = ((second & 0x1f) << 8) | (bytes[at + 2] as number);
    const hasAdaptation = (fourth & 0x20) !== 0;
    const adaptationBytes = hasAdaptation ? (bytes[at + 4] as number) : 0;
    if (hasAdaptation && adaptationBytes >= 7 && ((bytes[at + 5] as number) & 0x10) !== 0) {
      this.#clock(pid, pcrAt(bytes, at + 6), arrivalNs, ((bytes[at + 5] as number) & 0x80) !== 0);
    }
    const startsTable = (second & 0x40) !== 0 && (fourth & 0x10) !== 0;
    if (!startsTable) return;
    if (pid === PAT_PID) this.#pat(bytes, at, hasAdaptation ? 5 + adaptationBytes : 4, arrivalNs);
    else if (this.#isPmt[pid] === 1) this.#pmt(pid, arrivalNs);
  }

  #clock(pid: number, ticks: number, arrivalNs: number, isAnnounced: boolean): void {
    const counts = this.#counts;
    counts.pcrs += 1;
    let clock = this.#clocks.find((one) => one.pid === pid);
    if (clock === undefined) {
      if (this.#clocks.length === MOST_CLOCKS) return;
      clock = { pid, ticks, atNs: arrivalNs, least: Number.NaN, greatest: Number.NaN, origin: arrivalNs, elapsed: 0 };
      this.#clocks.push(clock);
      return;
    }
    const intervalNs = arrivalNs - clock.atNs;
    counts.pcrLongestNs = Math.max(counts.pcrLongestNs ?? 0, intervalNs);
    if (intervalNs > PCR_WITHIN_NS) counts.pcrOverdue += 1;
    const stepTicks = (ticks - clock.ticks + PCR_WRAP) % PCR_WRAP;
    const stepNs = stepTicks * NANOSECONDS_PER_TICK;
    clock.ticks = ticks;
    clock.atNs = arrivalNs;
    if (isAnnounced || stepNs > Math.max(JUMP_NS, 2 * intervalNs)) {
      if (!isAnnounced) counts.pcrJumps += 1;
      clock.origin = arrivalNs;
      clock.elapsed = 0;
      return;
    }
    clock.elapsed += stepNs;
    const swing = arrivalNs - clock.origin - clock.elapsed;
    clock.least = Number.isNaN(clock.least) ? swing : Math.min(clock.least, swing);
    clock.greatest = Number.isNaN(clock.greatest) ? swing : Math.max(clock.greatest, swing);
  }

  /** Program association section (ISO/IEC 13818-1, 2.4.4.3): pairs of program number and PID behind 8 bytes, 4 of CRC at the end. */
  #pat(bytes: Uint8Array, at: number, headerBytes: number, arrivalNs: number): void {
    const counts = this.#counts;
    counts.pats += 1;
    if (!Number.isNaN(this.#patNs)) {
      const intervalNs = arrivalNs - this.#patNs;
      counts.patLongestNs = Math.max(counts.patLongestNs ?? 0, intervalNs);
      if (intervalNs > PAT_WITHIN_NS) counts.patOverdue += 1;
    }
    this.#patNs = arrivalNs;
    const end = at + TS_PACKET_BYTES;
    const section = at + headerBytes + 1 + ((bytes[at + headerBytes] as number | undefined) ?? 0);
    if (section + 8 > end || bytes[section] !== 0) return;
    const sectionEnd =
      Math.min(end, section + 3 + (((bytes[section + 1] as number) & 0x0f) << 8) + (bytes[section + 2] as number)) - 4;
    const pids: number[] = [];
    for (let entry = section + 8; entry + 4 <= sectionEnd && pids.length < MOST_PROGRAMS; entry += 4) {
      const program = ((bytes[entry] as number) << 8) | (bytes[entry + 1] as number);
      if (program !== 0) pids.push((((bytes[entry + 2] as number) & 0x1f) << 8) | (bytes[entry + 3] as number));
    }
    counts.programs = pids.length;
    if (pids.length === this.#pmts.length && pids.every((pid, i) => pid === this.#pmts[i]?.pid)) return;
    for (const { pid } of this.#pmts) this.#isPmt[pid] = 0;
    this.#pmts = pids.map((pid) => ({ pid, lastNs: this.#pmts.find((one) => one.pid === pid)?.lastNs ?? Number.NaN }));
    for (const pid of pids) this.#isPmt[pid] = 1;
  }

  #pmt(pid: number, arrivalNs: number): void {
    const counts = this.#counts;
    const table = this.#pmts.find((one) => one.pid === pid);
    if (table === undefined) return;
    counts.pmts += 1;
    if (!Number.isNaN(table.lastNs)) {
      const intervalNs = arrivalNs - table.lastNs;
      counts.pmtLongestNs = Math.max(counts.pmtLongestNs ?? 0, intervalNs);
      if (intervalNs > PMT_WITHIN_NS) counts.pmtOverdue += 1;
    }
    table.lastNs = arrivalNs;
  }
}

/** 33 bits of base, 6 reserved, 9 of extension (ISO/IEC 13818-1, 2.4.3.4). @returns ticks of 27 MHz */
function pcrAt(bytes: Uint8Array, at: number): number {
  const byte = (i: number): number => bytes[at + i] as number;
  const base = (byte(0) * 2 ** 24 + (byte(1) << 16) + (byte(2) << 8) + byte(3)) * 2 + (byte(4) >> 7);
  return base * 300 + (((byte(4) & 1) << 8) | byte(5));
}

type Times = { -readonly [Key in keyof TsTimes]: TsTimes[Key] };

const noTimes = (): Times => ({
  pcrs: 0,
  pcrLongestNs: null,
  pcrOverdue: 0,
  pcrJumps: 0,
  pcrJitterNs: null,
  pats: 0,
  patLongestNs: null,
  patOverdue: 0,
  pmts: 0,
  pmtLongestNs: null,
  pmtOverdue: 0,
  programs: null,
});
