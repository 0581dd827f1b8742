import { execFile } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, truncateSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { promisify } from "node:util";
import type { phyRateBps } from "@dyetrace/wire/air/phy-mode";
import type { AirReading } from "@dyetrace/wire/capture/air-reading-schema";
import { CaptureReader } from "@dyetrace/wire/capture/capture-reader";
import { decodeRadiotap } from "@dyetrace/wire/capture/radiotap";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { BOARD, dsssScene, htScene, vhtAndHeScene } from "../conformance/air-scenes.ts";

const PROGRAM = fileURLToPath(new URL("../../agent/bin/dyetrace-agent.mjs", import.meta.url));
const READER = fileURLToPath(new URL("air-reader.py", import.meta.url));
const SCENES = { "ht.pcap": htScene(), "vht-he.pcapng": vhtAndHeScene(), "dsss.pcap": dsssScene() };

/** What scapy's layers say of one frame. */
interface TheirFrame {
  readonly timeUs: number;
  readonly timer: number;
  readonly mhz: number;
  readonly rate: number | null;
  readonly mcs: number | null;
  readonly width: number | null;
  readonly short: number | null;
  readonly aggregate: number | null;
  readonly vht: number | null;
  readonly vhtWidth: number | null;
  readonly he: readonly number[] | null;
  readonly type: number;
  readonly subtype: number;
  readonly to: boolean;
  readonly retry: boolean;
  readonly encrypted: boolean;
  readonly receiver: string;
  readonly bytes: number;
  readonly group: string | null;
}

let folder = "";
const theirs = new Map<string, TheirFrame[]>();
beforeAll(async () => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-air-"));
  for (const [name, bytes] of Object.entries(SCENES)) {
    const file = path.join(folder, name);
    writeFileSync(file, bytes);
    // Debian's own Python: its packages are not those of another one in front of it.
    const { stdout } = await promisify(execFile)("/usr/bin/python3", [READER, file]);
    theirs.set(
      name,
      stdout
        .trim()
        .split("\n")
        .map((line) => JSON.parse(line) as TheirFrame),
    );
  }
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

async function air(...words: readonly string[]): Promise<{ code: number; stdout: string; stderr: string }> {
  try {
    return { code: 0, ...(await promisify(execFile)(process.execPath, [PROGRAM, "air", ...words], { cwd: folder })) };
  } catch (error) {
    return error as { code: number; stdout: string; stderr: string };
  }
}

describe.each(Object.entries(SCENES))("a capture that scapy reads as well: %s", (name, bytes) => {
  test("given each frame, then time, radio timer, frequency, A-MPDU and mode are the same", () => {
    const ours: object[] = [];
    const reader = new CaptureReader();
    reader.read(bytes, ({ timeUs, bytes: kept }) => {
      const radio = decodeRadiotap(kept);
      ours.push({
        timeUs: Math.round(timeUs ?? Number.NaN),
        timer: radio?.timerUs,
        band: radio?.band,
        aggregate: radio?.aggregate,
        bytes: kept.byteLength - (radio?.headerBytes ?? 0),
        mode: radio?.mode === null || radio?.mode === undefined ? null : sayMode(radio.mode),
      });
    });
    const frames = theirs.get(name) ?? [];
    expect(frames.length).toBeGreaterThan(20);
    expect(ours).toEqual(
      frames.map(({ timeUs, timer, mhz, aggregate, bytes: mac, ...frame }) => ({
        timeUs,
        timer,
        band: mhz < 3000 ? "2.4 GHz" : "5 GHz",
        aggregate,
        bytes: mac,
        mode: sayTheirMode(frame),
      })),
    );
  });

  test("given the command, then frames, retries, receivers and answers of the group are what scapy counts", async () => {
    const { code, stdout } = await air(name, "--json", "-");
    expect(code).toBe(0);
    const reading = JSON.parse(stdout) as AirReading;
    const frames = theirs.get(name) ?? [];
    expect(reading.frames).toBe(frames.length);
    const isData = ({ type }: TheirFrame): boolean => type === 2;
    const isGroup = ({ receiver }: TheirFrame): boolean => (Number.parseInt(receiver.slice(0, 2), 16) & 1) === 1;
    const board = reading.groups.find(({ group }) => group === BOARD);
    // scapy does not open A-MSDUs: those are counted apart, in the unit test.
    const own = frames.filter((frame) => isData(frame) && frame.group === BOARD);
    const amsdus = name === "vht-he.pcapng" ? 4 : 0;
    expect(board?.groupAddressed.frames).toBe(own.filter(isGroup).length);
    const single = own.filter((frame) => !isGroup(frame) && !frame.to);
    expect(board?.asUnicast.frames).toBe(single.length + amsdus);
    expect(board?.asUnicast.retries).toBe(single.filter(({ retry }) => retry).length);
    expect(board?.fromStations.frames).toBe(own.filter(({ to }) => to).length);
    const secret = frames.filter((frame) => isData(frame) && frame.encrypted && !isGroup(frame));
    expect(reading.unreadableUnicast.frames).toBe(secret.length);
    expect(reading.hasAnswers).toBe(frames.some(({ type, subtype }) => type === 1 && [9, 13].includes(subtype)));
    const rates = (board?.groupAddressed.modes ?? []).map(({ mode }) => Number.parseFloat(mode));
    expect(rates).toEqual([...new Set(own.filter(isGroup).map(({ rate }) => rate))]);
  });
});

/** The parts of a mode that radiotap has as numbers. */
function sayMode(mode: Parameters<typeof phyRateBps>[0]): string {
  switch (mode.format) {
    case "dsss":
    case "ofdm":
      return `rate ${mode.rateBps / 1e6}`;
    case "ht":
      return `ht ${mode.mcs} ${mode.widthMhz} ${mode.guardNs}`;
    case "vht":
      return `vht ${mode.mcs} ${mode.streams} ${mode.widthMhz}`;
    case "he":
      return `he ${mode.mcs} ${mode.streams} ${mode.widthMhz} ${mode.guardNs} ${mode.coding}`;
  }
}

type TheirMode = Pick<TheirFrame, "rate" | "mcs" | "width" | "short" | "vht" | "vhtWidth" | "he">;

/** scapy leaves the words of the HE field as numbers, which are taken apart here by www.radiotap.org. */
function sayTheirMode({ rate, mcs, width, short, vht, vhtWidth, he }: TheirMode): string {
  if (he !== null) {
    const [, , three = 0, , five = 0, six = 0] = he;
    const coding = (three & 0x2000) === 0 ? "bcc" : "ldpc";
    return `he ${(three & 0x0f00) / 256} ${six & 15} ${20 * 2 ** (five & 15)} ${800 * 2 ** ((five & 0x30) / 16)} ${coding}`;
  }
  if (vht !== null) return `vht ${vht >> 4} ${vht & 15} ${{ 0: 20, 1: 40, 4: 80, 11: 160 }[vhtWidth ?? -1]}`;
  if (mcs !== null) return `ht ${mcs} ${width === 1 ? 40 : 20} ${short === 1 ? 400 : 800}`;
  return `rate ${rate}`;
}

test("air: given a capture, then people read each group, both ways, and what is unknown; CSV has a row for each", async () => {
  const { code, stdout } = await air("vht-he.pcapng", "--csv", "air.csv");
  expect(code).toBe(0);
  expect(stdout).toContain(`01:00:5e:43:0a:05, encrypted: one of 32 groups: 224 to 239, then .67 or .195, then .10.5`);
  expect(stdout).toMatch(/as unicast: 10 frames, to 2 stations, 1 sent again \(10 %\), 90 % acknowledged, takes/);
  expect(stdout).toContain("whether they carry multicast is unknown");
  const rows = readFileSync(path.join(folder, "air.csv"), "utf8").trim().split("\r\n");
  expect(rows.map((row) => row.split(",").slice(0, 4).join())).toEqual([
    "group,link_address,way,frames",
    `,01:00:5e:43:0a:05,group,8`,
    `${BOARD},01:00:5e:43:0a:04,unicast,10`,
    ",,encrypted unicast,5",
  ]);
});

test("air: given a file that is cut, none, or of another network, then it says so and where", async () => {
  const cut = path.join(folder, "cut.pcap");
  writeFileSync(cut, SCENES["ht.pcap"]);
  truncateSync(cut, SCENES["ht.pcap"].byteLength - 10);
  const damaged = await air("cut.pcap");
  expect(damaged.code).toBe(1);
  expect(damaged.stdout).toMatch(/The file is damaged at byte \d+: the file ends in the middle of a record\./);
  expect(damaged.stdout).toContain("to the group: 10 frames");
  writeFileSync(path.join(folder, "notes.txt"), "no capture at all");
  expect(await air("notes.txt")).toMatchObject({ code: 2, stderr: expect.stringContaining("[CAPTURE_INVALID]") });
  expect(await air("absent.pcap")).toMatchObject({ code: 2, stderr: expect.stringContaining("there is no such file") });
  const ethernet = Uint8Array.from(SCENES["ht.pcap"]);
  ethernet[20] = 1;
  writeFileSync(path.join(folder, "ethernet.pcap"), ethernet);
  const other = await air("ethernet.pcap");
  expect(other.code).toBe(2);
  expect(other.stderr).toContain("None of the 26 frames in ethernet.pcap is one of the air");
});
