import { drawInteger, type Random } from "../seeded-random.ts";

/** One packet of a stream that nobody here sends. */
export interface MediaPacket {
  readonly bytes: Uint8Array;
  readonly atNs: number;
}

export const MEDIA_KINDS = ["rtp with two SSRCs", "MPEG-TS over UDP", "MPEG-TS in RTP", "undocumented UDP"] as const;
export type MediaKind = (typeof MEDIA_KINDS)[number];

export interface MediaOptions {
  readonly seconds: number;
  readonly packetsPerSecond: number;
  readonly random: Random;
}

/** Media as it leaves its sender: frames of video, so packets in bunches, 25 times a second. */
export function drawMedia(kind: MediaKind, options: MediaOptions): MediaPacket[] {
  switch (kind) {
    case "rtp with two SSRCs":
      return rtpOfTwo(options);
    case "MPEG-TS over UDP":
      return transportStream(options);
    case "MPEG-TS in RTP": {
      const rtp = new RtpWriter(options.random, 33, 90_000);
      return transportStream(options).map(({ bytes, atNs }) => ({ bytes: rtp.around(bytes, atNs), atNs }));
    }
    case "undocumented UDP":
      return undocumented(options);
  }
}

const FRAMES_PER_SECOND = 25;
const FRAME_NS = 1e9 / FRAMES_PER_SECOND;
/** From packet to packet of one frame. */
const PACKET_NS = 120e3;

/** When packets leave: as many in each frame, back to back. */
function departures({ seconds, packetsPerSecond }: MediaOptions): number[] {
  const perFrame = Math.max(1, Math.round(packetsPerSecond / FRAMES_PER_SECOND));
  const times: number[] = [];
  for (let frame = 0; frame < seconds * FRAMES_PER_SECOND; frame++) {
    for (let i = 0; i < perFrame; i++) times.push(frame * FRAME_NS + i * Math.min(PACKET_NS, FRAME_NS / perFrame));
  }
  return times;
}

/** Header as in RFC 3550, section 5.1. */
class RtpWriter {
  readonly #ssrc: number;
  readonly #payloadType: number;
  readonly #clockHz: number;
  #seq: number;

  constructor(random: Random, payloadType: number, clockHz: number, seq = drawInteger(random, 0, 65_535)) {
    this.#ssrc = drawInteger(random, 1, 0xffffffff);
    this.#payloadType = payloadType;
    this.#clockHz = clockHz;
    this.#seq = seq;
  }

  around(payload: Uint8Array, atNs: number): Uint8Array {
    const bytes = new Uint8Array(12 + payload.length);
    const view = new DataView(bytes.buffer);
    view.setUint8(0, 0x80);
    view.setUint8(1, this.#payloadType);
    view.setUint16(2, this.#seq);
    view.setUint32(4, Math.floor((atNs / 1e9) * this.#clockHz) >>> 0);
    view.setUint32(8, this.#ssrc);
    bytes.set(payload, 12);
    this.#seq = (this.#seq + 1) & 0xffff;
    return bytes;
  }
}

const fill = (random: Random, size: number): Uint8Array => Uint8Array.from({ length: size }, () => random() * 256);

/** Picture and sound, each from a source of its own, to one group and port. */
function rtpOfTwo(options: MediaOptions): MediaPacket[] {
  const picture = new RtpWriter(options.random, 96, 90_000, 65_300); // its numbers begin anew soon
  const sound = new RtpWriter(options.random, 97, 48_000);
  const seen = departures({ ...options, packetsPerSecond: options.packetsPerSecond * 0.7 }).map((atNs) => ({
    bytes: picture.around(fill(options.random, 400), atNs),
    atNs,
  }));
  const everyNs = 1e9 / (options.packetsPerSecond * 0.3);
  const heard = Array.from({ length: Math.floor((options.seconds * 1e9) / everyNs) }, (_, i) => {
    const atNs = i * everyNs + 35_000;
    return { bytes: sound.around(fill(options.random, 200), atNs), atNs };
  });
  return [...seen, ...heard].sort((a, b) => a.atNs - b.atNs);
}

/** No number anywhere that a stranger could know; now and then the first bits look like RTP's. */
function undocumented(options: MediaOptions): MediaPacket[] {
  return departures(options).map((atNs) => ({
    bytes: fill(options.random, 300 + Math.floor(options.random() * 80)),
    atNs,
  }));
}

const PACKETS_IN_DATAGRAM = 7;
const VIDEO = [0x101, 0x111];
const PMT = [0x100, 0x110];

/** Two programs with a table each, a clock each 40 ms, and null packets between (ISO/IEC 13818-1). */
export function transportStream(options: MediaOptions): MediaPacket[] {
  const writer = new TsWriter(options.random);
  return departures(options).map((atNs) => ({ bytes: writer.datagram(atNs), atNs }));
}

export class TsWriter {
  readonly #random: Random;
  readonly #counters = new Map<number, number>();
  #tablesNs = Number.NEGATIVE_INFINITY;
  #clockNs = Number.NEGATIVE_INFINITY;

  constructor(random: Random) {
    this.#random = random;
  }

  datagram(atNs: number): Uint8Array {
    const packets: Uint8Array[] = [];
    if (atNs - this.#tablesNs >= 100e6) {
      this.#tablesNs = atNs;
      packets.push(this.#table(0, pat()), ...PMT.map((pid, i) => this.#table(pid, pmt(i))));
    }
    if (atNs - this.#clockNs >= 40e6) {
      this.#clockNs = atNs;
      packets.push(...VIDEO.map((pid) => this.#media(pid, atNs)));
    }
    // A coder of constant rate fills whole datagrams: they are all alike.
    const isStuffing = packets.length === 0 && this.#random() < 0.15;
    while (isStuffing && packets.length < PACKETS_IN_DATAGRAM) packets.push(nullPacket());
    while (packets.length < PACKETS_IN_DATAGRAM) {
      const draw = this.#random();
      packets.push(draw < 0.1 ? nullPacket() : this.#media(VIDEO[draw < 0.5 ? 0 : 1] ?? 0x101, null));
    }
    const bytes = new Uint8Array(packets.length * 188);
    for (const [i, packet] of packets.entries()) bytes.set(packet, i * 188);
    return bytes;
  }

  #header(pid: number, flags: number): Uint8Array {
    const counter = this.#counters.get(pid) ?? 0;
    this.#counters.set(pid, (counter + 1) & 15);
    const packet = new Uint8Array(188);
    packet.set([0x47, pid >> 8, pid & 0xff, flags | counter]);
    return packet;
  }

  #table(pid: number, section: readonly number[]): Uint8Array {
    const packet = this.#header(pid, 0x10);
    packet[1] = (packet[1] ?? 0) | 0x40; // a section begins here
    packet.fill(0xff, 4);
    packet.set([0, ...section], 4);
    return packet;
  }

  #media(pid: number, clockNs: number | null): Uint8Array {
    const packet = this.#header(pid, clockNs === null ? 0x10 : 0x30);
    packet.set(fill(this.#random, 184), 4);
    if (clockNs === null) return packet;
    const ticks = Math.floor((clockNs / 1e9) * 27e6);
    const [base, extension] = [Math.floor(ticks / 300), ticks % 300];
    const low = base % 2;
    const high = Math.floor(base / 2);
    packet.set(
      [
        7,
        0x10,
        high >>> 24,
        (high >>> 16) & 255,
        (high >>> 8) & 255,
        high & 255,
        (low << 7) | 0x7e | (extension >> 8),
        extension & 255,
      ],
      4,
    );
    return packet;
  }
}

const nullPacket = (): Uint8Array => {
  const packet = new Uint8Array(188).fill(0xff);
  packet.set([0x47, 0x1f, 0xff, 0x10]);
  return packet;
};

/** Sections as in ISO/IEC 13818-1, 2.4.4.3 and 2.4.4.8; nobody here reads their check sums. */
function pat(): number[] {
  const programs = PMT.flatMap((pid, i) => [0, i + 1, 0xe0 | (pid >> 8), pid & 0xff]);
  return [0, 0xb0, 5 + programs.length + 4, 0, 1, 0xc1, 0, 0, ...programs, 0, 0, 0, 0];
}

function pmt(program: number): number[] {
  const pid = VIDEO[program] ?? 0x101;
  const body = [
    0,
    program + 1,
    0xc1,
    0,
    0,
    0xe0 | (pid >> 8),
    pid & 0xff,
    0xf0,
    0,
    0x1b,
    0xe0 | (pid >> 8),
    pid & 0xff,
    0xf0,
    0,
  ];
  return [2, 0xb0, body.length + 4, ...body, 0, 0, 0, 0];
}
