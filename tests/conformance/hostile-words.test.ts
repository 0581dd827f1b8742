import { expect, test } from "vitest";
import { fuzz } from "../simulation/fuzz/fuzz.ts";

/**
 * By hand, for longer and with other seeds:
 * `DYETRACE_FUZZ=2000000 DYETRACE_SEED=7 npx vitest run --config tests/vitest.config.ts --project unit tests/conformance/hostile-words`
 */
const TRIES = Number(process.env["DYETRACE_FUZZ"] ?? 2000);
const SEED = Number(process.env["DYETRACE_SEED"] ?? 0x5eed);
/** By hand; beside the rest of the suite, whose threads count as well, only a real hang does. */
const HANG_MS = process.env["DYETRACE_FUZZ"] === undefined ? 5000 : 100;
const AT_A_TIME = 100_000;

test("all parsers: given messages of both sides, packets, frames, files and words with places changed, then each is taken or refused in a sentence, and soon", () => {
  for (let done = 0; done < TRIES; done += AT_A_TIME) {
    const seed = SEED + done;
    const { tries, taken, refused, slowestMs, failures } = fuzz(Math.min(AT_A_TIME, TRIES - done), seed, HANG_MS);
    const said = `${tries} tries, ${taken} taken, ${refused} refused, slowest ${slowestMs.toFixed(1)} ms`;
    process.stderr.write(`fuzz, seed ${seed}: ${said}\n`);
    expect(failures).toEqual([]);
    expect(taken).toBeGreaterThan(tries / 50); // it does not stop at the door each time
    expect(refused).toBeGreaterThan(tries / 3);
  }
}, 3_600_000);
