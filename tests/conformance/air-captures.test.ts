import { parseAs } from "@dyetrace/wire";
import { type AirReading, AirReadingSchema } from "@dyetrace/wire/capture/air-reading-schema";
import { AirTally } from "@dyetrace/wire/capture/air-tally";
import { CaptureReader } from "@dyetrace/wire/capture/capture-reader";
import { expect, test } from "vitest";
import { bytesOf, dataFrame, ipv4Packet, pcapFile, pcapngFile, type Record, radiotap } from "./air-capture-bytes.ts";
import { ACCESS_POINT, BOARD, BOARD_MAC, dsssScene, htScene, TABLET, vhtAndHeScene } from "./air-scenes.ts";

function read(file: Uint8Array, pieceBytes = file.byteLength): AirReading {
  const [reader, tally] = [new CaptureReader(), new AirTally()];
  for (let at = 0; at < file.byteLength; at += pieceBytes) {
    reader.read(file.slice(at, at + pieceBytes), (frame) => tally.take(frame));
  }
  reader.end();
  return parseAs(
    AirReadingSchema,
    tally.reading({ format: reader.format, problem: reader.problem }),
    "CAPTURE_INVALID",
    "The reading",
  );
}

const groupOf = (reading: AirReading, name: string) =>
  reading.groups.find(({ group, linkAddress }) => (group ?? linkAddress) === name);

test("air: given 802.11n, then frames to the group, A-MPDUs with what a block acknowledgement names, and their times", () => {
  const reading = read(htScene());
  expect(reading).toMatchObject({ format: "pcap", frames: 26, hasAnswers: true, problem: null, unreadableFrames: 0 });
  const board = groupOf(reading, BOARD);
  expect(board).toMatchObject({ linkAddress: BOARD_MAC, oneOf: null });
  // 24 + 8 + 28 + 1316 + 4 = 1380 bytes at 12 Mbit/s: 944 us (check of clause 17), 6 us of silence at 2.4 GHz.
  expect(board?.groupAddressed).toMatchObject({ frames: 10, retries: 0, acknowledgedRatio: null, airMs: 9.5 });
  expect(board?.groupAddressed.takenMs).toBeCloseTo((10 * (950 + 28 + 67.5)) / 1000, 9);
  expect(board?.asUnicast).toMatchObject({ frames: 12, receivers: 1, retries: 0 });
  expect(board?.asUnicast.acknowledgedRatio).toBeCloseTo(8 / 12, 12);
  expect(board?.asUnicast.modes).toEqual([{ mode: "802.11n MCS 7, 1 stream, 40 MHz (150 Mbit/s)", frames: 12 }]);
  // Three subframes of 4 + 1382 bytes, the first two padded: 4 * 3 + 2 * 1384 + 1382 = 4162 bytes; 540 bits a symbol.
  const symbols = Math.ceil((16 + 8 * 4162 + 6) / 540);
  const ppduUs = 36 + Math.ceil((symbols * 3.6) / 4) * 4 + 6;
  expect(board?.asUnicast.airMs).toBeCloseTo((4 * ppduUs) / 1000, 9);
  // A block acknowledgement has 32 bytes: 20 + 4 * ceil(278 / 96) + 6 us at 24 Mbit/s, after 10 us.
  expect(board?.asUnicast.takenMs).toBeCloseTo((4 * (ppduUs + 28 + 67.5 + 10 + 38)) / 1000, 9);
});

test("air: given 802.11ac and ax, then encrypted groups are one of 32, A-MSDUs are read, and the rest is unknown", () => {
  const reading = read(vhtAndHeScene());
  expect(reading).toMatchObject({ format: "pcapng", problem: null });
  const music = groupOf(reading, "01:00:5e:43:0a:05");
  expect(music).toMatchObject({ group: null, groupAddressed: { frames: 8 }, asUnicast: { frames: 0 } });
  expect(music?.oneOf).toBe("one of 32 groups: 224 to 239, then .67 or .195, then .10.5"); // RFC 1112, section 6.4
  const board = groupOf(reading, BOARD);
  expect(board?.asUnicast).toMatchObject({ frames: 10, receivers: 2, retries: 1 });
  expect(board?.asUnicast.acknowledgedRatio).toBeCloseTo(9 / 10, 12);
  expect(board?.asUnicast.modes.map(({ mode, frames }) => [frames, mode])).toEqual([
    [6, "802.11ax MCS 9, 2 streams, 80 MHz (960.7 Mbit/s)"],
    [4, "802.11ac MCS 7, 2 streams, 80 MHz (585 Mbit/s)"],
  ]);
  // Two parts of 14 + 1352 bytes, the first padded to 1368: 26 + 1368 + 1366 (padded to 1368) + 4 = 2766 and a delimiter.
  const vhtUs = 44 + 4 * Math.ceil((16 + 8 * (4 + 2766) + 12) / 2340);
  // 980 * 8 * 5/6 * 2 = 13066 bits a symbol of 13.6 us; 20 + 4 + 8 + 4 us, and two training symbols of 7.2 us.
  const heUs = 36 + 14.4 + 13.6 * Math.ceil((16 + 8 * (4 + 1382)) / 13_066);
  expect(board?.asUnicast.airMs).toBeCloseTo((4 * vhtUs + 6 * heUs) / 1000, 9);
  expect(reading.unreadableUnicast).toMatchObject({ frames: 5, acknowledgedRatio: 0 });
});

test("air: given 802.11b with retries, then each turn counts, and the acknowledgement goes to the last", () => {
  const board = groupOf(read(dsssScene()), BOARD);
  // 1380 bytes at 1 Mbit/s with the long preamble: 11 232 us (checked against IEEE Std 802.11-2007 elsewhere).
  expect(board?.groupAddressed).toMatchObject({ frames: 6, airMs: 67.392 });
  expect(board?.asUnicast).toMatchObject({ frames: 7, retries: 2, receivers: 1 });
  expect(board?.asUnicast.acknowledgedRatio).toBeCloseTo(5 / 7, 12);
  expect(board?.asUnicast.airMs).toBeCloseTo((7 * (192 + Math.ceil((8 * 1380) / 11))) / 1000, 9);
  expect(board?.fromStations).toMatchObject({ frames: 3, acknowledgedRatio: 1 });
});

test("air: given any size of pieces, then the reading is the same", () => {
  for (const file of [htScene(), vhtAndHeScene(), dsssScene()]) {
    for (const pieceBytes of [61, 1000]) expect(read(file, pieceBytes)).toEqual(read(file));
  }
});

test("air: given a file that ends early or is damaged, then the place is told and what came before stands", () => {
  const whole = htScene();
  const cut = read(whole.slice(0, whole.byteLength - 5));
  expect(cut.frames).toBe(25);
  expect(cut.problem?.sentence).toBe("the file ends in the middle of a record");
  // The last record: 16 bytes of header, radiotap of 24 or so, 32 bytes less FCS.
  expect(whole.byteLength - (cut.problem?.offset ?? 0)).toBeLessThan(100);
  const damaged = Uint8Array.from(whole);
  new DataView(damaged.buffer).setUint32(cut.problem?.offset ?? 0, 0xffff_fff0, true);
  new DataView(damaged.buffer).setUint32((cut.problem?.offset ?? 0) + 8, 0xffff_fff0, true);
  expect(read(damaged)).toMatchObject({ frames: 25, problem: { offset: cut.problem?.offset } });
  expect(read(bytesOf([1, 2, 3, 4, 5])).problem).toEqual({ offset: 0, sentence: "this is no capture file" });
  const ng = vhtAndHeScene();
  new DataView(ng.buffer).setUint32(ng.byteLength - 4, 12, true); // the last block's second length
  expect(read(ng).problem?.sentence).toBe("a block's two lengths differ");
});

const packet = ipv4Packet("192.0.2.10", BOARD, 100);
const toGroup = dataFrame({
  receiver: BOARD_MAC,
  transmitter: ACCESS_POINT,
  third: ACCESS_POINT,
  way: "from",
  sequence: 1,
  payload: packet,
});
const record = (bytes: Uint8Array, more: Partial<Record> = {}): Record => ({ timeUs: 1e15, bytes, ...more });

test("air: given frames without radiotap headers in a big-endian pcapng, then they count and their time is unknown", () => {
  const reading = read(
    pcapngFile({ isLittle: false, isNano: false, linkType: 105 }, [record(toGroup), record(toGroup)]),
  );
  const board = groupOf(reading, BOARD);
  expect(board?.groupAddressed).toMatchObject({
    frames: 2,
    airMs: null,
    takenMs: null,
    shareRatio: null,
    unknownModeFrames: 2,
  });
  expect(board?.groupAddressed.acknowledgedRatio).toBeNull();
  expect(reading.hasAnswers).toBe(false);
});

test("air: given damaged frames, Ethernet or a cut frame, then they are told apart, and length on the air counts whole", () => {
  const form = { isLittle: true, isNano: false, linkType: 127 };
  const bad = bytesOf(radiotap({ rate: 12, mhz: 5180, flags: 0x50 }), toGroup, new Uint8Array(4));
  const head = radiotap({ rate: 12, mhz: 5180 });
  const cut = record(bytesOf(head, toGroup).slice(0, head.byteLength + 60), {
    originalBytes: head.byteLength + toGroup.byteLength,
  });
  const reading = read(pcapFile(form, [record(bad), cut, record(bytesOf([9, 9, 9, 9, 9, 9, 9, 9]))]));
  expect(reading).toMatchObject({ frames: 3, damagedFrames: 1, unreadableFrames: 1 });
  // 24 + 8 + 28 + 100 + 4 = 164 bytes at 6 Mbit/s: 244 us (clause 17).
  expect(groupOf(reading, BOARD)?.groupAddressed).toMatchObject({ frames: 1, bytes: 164, airMs: 0.244 });
  expect(read(pcapFile({ ...form, linkType: 1 }, [record(toGroup)]))).toMatchObject({ frames: 1, unreadableFrames: 1 });
});

test("air: given an acknowledgement that comes too late or to another, then the frame counts as not acknowledged", () => {
  const radio = (timerUs: number) => radiotap({ timerUs, rate: 48, mhz: 5180 });
  const asked = dataFrame({
    receiver: TABLET,
    transmitter: ACCESS_POINT,
    third: ACCESS_POINT,
    way: "from",
    sequence: 1,
    payload: packet,
  });
  const ack = (to: string) =>
    bytesOf(
      [0xd4, 0, 0, 0],
      to.split(":").map((part) => Number.parseInt(part, 16)),
    );
  const ratio = (gapUs: number, to = ACCESS_POINT) =>
    groupOf(
      read(
        pcapFile({ isLittle: true, isNano: false, linkType: 127 }, [
          record(bytesOf(radio(1000), asked)),
          record(bytesOf(radio(1000 + gapUs), ack(to))),
        ]),
      ),
      BOARD,
    )?.asUnicast.acknowledgedRatio;
  // 164 bytes at 24 Mbit/s take 76 us; SIFS is 16 us.
  expect(ratio(92)).toBe(1);
  expect(ratio(600)).toBe(0);
  expect(ratio(92, TABLET)).toBe(0);
});
