import { Compile } from "@dyetrace/schema/check";
import { AirReadingSchema } from "@dyetrace/wire/capture/air-reading-schema";
import { AirTally } from "@dyetrace/wire/capture/air-tally";
import { CaptureReader } from "@dyetrace/wire/capture/capture-reader";
import { dsssScene, htScene, vhtAndHeScene } from "../../conformance/air-scenes.ts";
import { drawOne } from "../seeded-random.ts";
import { mutateBytes } from "./mutate-bytes.ts";
import type { Parser } from "./parser.ts";

const READING = Compile(AirReadingSchema);
const CAPTURES = [htScene(), vhtAndHeScene(), dsssScene()];

export const AIR_PARSERS: readonly Parser[] = [
  {
    name: "captures of the air",
    share: 6,
    make: (random) => mutateBytes(drawOne(random, CAPTURES), random),
    take: (made) => {
      const [reader, tally] = [new CaptureReader(), new AirTally()];
      reader.read(made as Uint8Array, (frame) => tally.take(frame));
      reader.end();
      const reading = tally.reading({ format: reader.format, problem: reader.problem });
      if (!READING.Check(reading)) throw new Error(`not as the schema has it: ${JSON.stringify(reading)}`);
    },
  },
];
