import { expect, test } from "vitest";
import type { PortCount } from "../run/device-observations.ts";
import { countLikelihood } from "./counter-likelihood.ts";

/** Of a port that is quiet but for itself, which counted none of 475 packets. */
const none: PortCount = { frames: 0, quietPerS: 0, quietS: 2, fromMs: -2_000, toMs: 10_000, skewMs: 100 };
const nothingElse = [{ frames: 0, chance: 1 }];
/** How much likelier it is that the frames were lost before it than that they came so far. */
const ratio = (count: PortCount): number =>
  countLikelihood(count, { frames: 0, sigma: 0 }, nothingElse) /
  countLikelihood(count, { frames: 475, sigma: 0 }, nothingElse);

test("given a port that counts none of what passed, then it is clear evidence where it has counted before, and not where that is unknown", () => {
  expect(ratio({ ...none, hasEverCounted: true })).toBeGreaterThan(1_000);
  expect(ratio(none)).toBeLessThan(1_000);
  expect(ratio(none)).toBeGreaterThan(100);
});
