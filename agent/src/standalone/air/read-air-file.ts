import { createReadStream } from "node:fs";
import { Fault } from "@dyetrace/wire";
import type { AirReading } from "@dyetrace/wire/capture/air-reading-schema";
import { AirTally } from "@dyetrace/wire/capture/air-tally";
import { CaptureReader } from "@dyetrace/wire/capture/capture-reader";
import { cannotRead } from "@dyetrace/wire/command-line/file-fault";

const PIECE_BYTES = 1024 * 1024;

/**
 * What a capture file of the air says about multicast. It is read piece by piece, and nothing that frames carry is kept.
 * @throws {Fault} FILE_UNREADABLE, CAPTURE_INVALID where nothing of it can be read
 */
export async function readAirFile(file: string): Promise<AirReading> {
  const reader = new CaptureReader();
  const tally = new AirTally();
  try {
    for await (const piece of createReadStream(file, { highWaterMark: PIECE_BYTES })) {
      reader.read(piece as Uint8Array, (frame) => tally.take(frame));
      if (reader.problem !== null) break;
    }
  } catch (cause) {
    throw cannotRead(file, cause);
  }
  reader.end();
  const reading = tally.reading({ format: reader.format, problem: reader.problem });
  if (reading.format === null) {
    throw new Fault("CAPTURE_INVALID", `${file} is no capture file`, "Give a pcap or pcapng file.");
  }
  if (reading.frames === 0 && reading.problem !== null) {
    const { offset, sentence } = reading.problem;
    throw new Fault(
      "CAPTURE_INVALID",
      `${file} is damaged at byte ${offset}: ${sentence}`,
      "No frame comes before that.",
    );
  }
  if (reading.frames > 0 && reading.unreadableFrames === reading.frames) {
    const hint = "Capture in monitor mode, with radiotap headers: link type 127 or 105.";
    throw new Fault("CAPTURE_INVALID", `None of the ${reading.frames} frames in ${file} is one of the air`, hint);
  }
  return reading;
}
