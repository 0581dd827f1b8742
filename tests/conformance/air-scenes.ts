import {
  ackFrame,
  amsduPart,
  blockAckFrame,
  bytesOf,
  type DataFields,
  dataFrame,
  ipv4Packet,
  pcapFile,
  pcapngFile,
  type RadiotapFields,
  type Record,
  radiotap,
} from "./air-capture-bytes.ts";

/** Three captures at the Quillfen ferry terminal, which tests read in several ways. */
export const ACCESS_POINT = "02:00:5e:10:00:01";
export const TABLET = "02:00:5e:20:00:01";
export const PHONE = "02:00:5e:20:00:02";
const TOWER = "02:00:5e:30:00:01";
export const BOARD = "239.195.10.4";
export const BOARD_MAC = "01:00:5e:43:0a:04";
const MUSIC_MAC = "01:00:5e:43:0a:05";
const START_US = 1_796_000_000e6;

/** Stamps records at even distances, like a radio that stamps the first bit. */
class Tape {
  readonly records: Record[] = [];
  #timerUs = 5_000_000;

  /** @param gapUs from the first bit of the frame before */
  add(gapUs: number, radio: RadiotapFields, frame: Uint8Array): void {
    this.#timerUs += gapUs;
    const header = radiotap({ timerUs: this.#timerUs, ...radio });
    this.records.push({ timeUs: START_US + this.#timerUs, bytes: bytesOf(header, frame) });
  }
}

const fromAp = (receiver: string, sequence: number, payload: Uint8Array, more: Partial<DataFields> = {}) =>
  dataFrame({ receiver, transmitter: ACCESS_POINT, third: TOWER, way: "from", sequence, payload, ...more });
const packet = ipv4Packet("192.0.2.10", BOARD, 1316);

/** 2.4 GHz, 802.11n: ten frames to the group at 12 Mbit/s, then four A-MPDUs of three; of each the second is lost. */
export function htScene(): Uint8Array {
  const tape = new Tape();
  for (let sequence = 0; sequence < 10; sequence++) {
    tape.add(10_000, { rate: 24, mhz: 2437 }, fromAp(BOARD_MAC, sequence, packet));
  }
  for (let burst = 0; burst < 4; burst++) {
    for (let part = 0; part < 3; part++) {
      const frame = fromAp(TABLET, 100 + 3 * burst + part, packet, { tid: 5 });
      const radio = { mhz: 2437, mcs: [0x1f, 0x05, 7], aggregate: 700 + burst } as const; // 40 MHz, short guard interval
      tape.add(part === 0 ? 10_000 : 75, radio, frame);
    }
    const bits = [0b101, 0, 0, 0, 0, 0, 0, 0];
    tape.add(150, { rate: 48, mhz: 2437 }, blockAckFrame(ACCESS_POINT, TABLET, 5, 100 + 3 * burst, bits));
  }
  return pcapFile({ isLittle: true, isNano: false, linkType: 127 }, tape.records);
}

const HE_KNOWN = [0x4000 + 0x0080 + 0x0040 + 0x0020, 0x0002] as const;

/**
 * 5 GHz, 802.11ac and ax: eight encrypted frames to a group at 24 Mbit/s, four plain A-MSDUs whose parts are for the group,
 * six frames of HE to a phone, and five encrypted ones of which nobody can say what they carry.
 */
export function vhtAndHeScene(): Uint8Array {
  const tape = new Tape();
  const secret = new Uint8Array(1340).fill(0x5a);
  for (let sequence = 0; sequence < 8; sequence++) {
    tape.add(20_000, { rate: 48, mhz: 5180 }, fromAp(MUSIC_MAC, sequence, secret, { isEncrypted: true }));
  }
  const vht = [0x0044, 0, 4, 0x72] as const; // 80 MHz, long guard interval, MCS 7, two streams
  for (let sequence = 0; sequence < 4; sequence++) {
    const payload = bytesOf(amsduPart(BOARD_MAC, TOWER, packet), amsduPart(BOARD_MAC, TOWER, packet));
    tape.add(20_000, { mhz: 5180, vht }, fromAp(TABLET, 200 + sequence, payload, { tid: 0, isAmsdu: true }));
    tape.add(100, { rate: 48, mhz: 5180 }, ackFrame(ACCESS_POINT));
  }
  const he = [...HE_KNOWN, 0x0900 + 0x2000, 0, 0x0002 + 0x0080, 2]; // MCS 9, LDPC, 80 MHz, 0.8 us, 6.4 us, two streams
  for (let sequence = 0; sequence < 6; sequence++) {
    const frame = fromAp(PHONE, 300 + sequence, packet, { tid: 0, isRetry: sequence === 5 });
    tape.add(20_000, { mhz: 5180, he }, frame);
    if (sequence !== 4) tape.add(90, { rate: 48, mhz: 5180 }, ackFrame(ACCESS_POINT));
  }
  for (let sequence = 0; sequence < 5; sequence++) {
    tape.add(20_000, { mhz: 5180, vht }, fromAp(PHONE, 400 + sequence, secret, { tid: 0, isEncrypted: true }));
  }
  return pcapngFile({ isLittle: true, isNano: true, linkType: 127 }, tape.records);
}

/**
 * 2.4 GHz, 802.11b and g, written by a big-endian machine: six frames to the group at 1 Mbit/s; five converted ones at
 * 11 Mbit/s, of which the third comes three times before it is acknowledged; three from a station to its access point.
 * Frames bear their FCS.
 */
export function dsssScene(): Uint8Array {
  const tape = new Tape();
  const fcs = new Uint8Array(4);
  const add = (gapUs: number, rate: number, frame: Uint8Array) =>
    tape.add(gapUs, { rate, mhz: 2412, flags: 0x10 }, bytesOf(frame, fcs));
  for (let sequence = 0; sequence < 6; sequence++) add(30_000, 2, fromAp(BOARD_MAC, sequence, packet));
  for (let sequence = 0; sequence < 5; sequence++) {
    for (let turn = 0; turn < (sequence === 2 ? 3 : 1); turn++) {
      add(30_000, 22, fromAp(PHONE, 20 + sequence, packet, { isRetry: turn > 0 }));
    }
    add(1230, 4, ackFrame(ACCESS_POINT));
  }
  for (let sequence = 0; sequence < 3; sequence++) {
    const uplink = { receiver: ACCESS_POINT, transmitter: TABLET, third: BOARD_MAC, way: "to", sequence } as const;
    add(30_000, 108, dataFrame({ ...uplink, payload: packet }));
    add(260, 48, ackFrame(TABLET));
  }
  return pcapFile({ isLittle: false, isNano: true, linkType: 127 }, tape.records);
}
