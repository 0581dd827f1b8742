import { beforeAll, describe, expect, test } from "vitest";
import { SIMULATED_CLASSES } from "../classes/class-list.ts";
import { seededRandom } from "../seeded-random.ts";
import { drawObservations } from "./draw-observations.ts";
import { HOST_WORDS } from "./host-words.ts";
import { LEAK_WORDS } from "./leak-words.ts";
import { LOSS_WORDS } from "./loss-words.ts";
import { MEMBERSHIP_WORDS } from "./membership-words.ts";
import { PACKET_WORDS } from "./packet-words.ts";
import { type Phrase, type PhraseBook, type ToldRun, toldRun, untrueSentences } from "./phrase.ts";
import { PLAN_WORDS } from "./plan-words.ts";
import { STOP_WORDS } from "./stop-words.ts";

const BOOKS: readonly (readonly [string, PhraseBook])[] = [
  ["stops", STOP_WORDS],
  ["loss and outages", LOSS_WORDS],
  ["leaks", LEAK_WORDS],
  ["hosts", HOST_WORDS],
  ["packets", PACKET_WORDS],
  ["membership", MEMBERSHIP_WORDS],
  ["plan", PLAN_WORDS],
];

const FIRST_SEED = Number(process.env["WORDS_SEED"] ?? 1);
const MIXTURES = Number(process.env["WORDS_CASES"] ?? 150);
const OF_EACH_CLASS = 2;

/** Mixtures of all that agents may say, and each class. */
function* toldRuns(): Generator<ToldRun> {
  for (let seed = FIRST_SEED; seed < FIRST_SEED + MIXTURES; seed++) {
    const { graph, run } = drawObservations(seededRandom(seed));
    yield toldRun(`seed ${seed}`, graph, run);
  }
  for (const [number, one] of SIMULATED_CLASSES.entries()) {
    for (const variant of one.variants) {
      for (let i = 0; i < OF_EACH_CLASS; i++) {
        const drawn = one.draw(variant, seededRandom(1_000 * number + i));
        if (drawn !== null) yield toldRun(`${one.name}, ${variant}, ${i}`, drawn.plan, drawn.run);
      }
    }
  }
}

describe("what findings say is what was observed", () => {
  let runs: readonly ToldRun[] = [];
  beforeAll(() => {
    runs = [...toldRuns()];
  }, 120_000);

  test.each(BOOKS)(
    "%s: given any observations, then every sentence of title and evidence holds for them",
    (_, book) => {
      const said = new Map<Phrase, number>();
      expect(runs.flatMap((run) => untrueSentences(book, run, said))).toEqual([]);
      // Fewer would say that the draw no longer reaches this family.
      expect(said.size).toBeGreaterThan(book.titles.length / 2);
    },
  );
});
