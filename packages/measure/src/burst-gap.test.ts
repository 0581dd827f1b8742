import fc from "fast-check";
import { expect, test } from "vitest";
import { summariseBurstGaps } from "./burst-gap.ts";

/** Runs of received and lost packets, as `[good, lost]`. */
const runs = fc.array(fc.tuple(fc.integer({ min: 0, max: 20 }), fc.integer({ min: 0, max: 3 })), { maxLength: 30 });

/** The lost ranges of a pattern, none touching another. */
function rangesOf(isLost: readonly boolean[]): [number, number][] {
  const ranges: [number, number][] = [];
  for (const [seq, lost] of isLost.entries()) {
    const open = ranges.at(-1);
    if (!lost) continue;
    if (open !== undefined && open[0] + open[1] === seq) open[1]++;
    else ranges.push([seq, 1]);
  }
  return ranges;
}

test("summariseBurstGaps: given any pattern, then it is what reading it packet by packet gives", () => {
  fc.assert(
    fc.property(runs, (list) => {
      const pattern = list.flatMap(([good, lost]) => [
        ...new Array<boolean>(good).fill(false),
        ...new Array<boolean>(lost).fill(true),
      ]);
      const run = { firstSeq: 0, endSeq: pattern.length, lost: rangesOf(pattern) };
      expect(summariseBurstGaps([run])).toEqual(readPattern(pattern));
    }),
    { numRuns: 1000 },
  );
});

/** RFC 3611, section 4.7.2, read literally. */
function readPattern(isLost: readonly boolean[]): ReturnType<typeof summariseBurstGaps> {
  const inBurst = new Array<boolean>(isLost.length).fill(false);
  const lost = [...isLost.keys()].filter((i) => isLost[i]);
  for (const [k, at] of lost.entries()) {
    const next = lost[k + 1];
    if (next !== undefined && next - at - 1 < 16) inBurst.fill(true, at, next + 1);
  }
  // Two bursts never touch: 16 received packets lie between them.
  let bursts = 0;
  let gaps = 0;
  for (const [i, inside] of inBurst.entries()) {
    if (i > 0 && inBurst[i - 1] === inside) continue;
    if (inside) bursts++;
    else gaps++;
  }
  const count = (condition: (i: number) => boolean): number => [...isLost.keys()].filter(condition).length;
  const burstPackets = count((i) => inBurst[i] === true);
  const gapPackets = isLost.length - burstPackets;
  return {
    bursts,
    gaps,
    burstDensity: burstPackets === 0 ? null : count((i) => inBurst[i] === true && isLost[i] === true) / burstPackets,
    gapDensity: gapPackets === 0 ? null : count((i) => inBurst[i] === false && isLost[i] === true) / gapPackets,
    meanBurstPackets: bursts === 0 ? null : burstPackets / bursts,
    meanGapPackets: gaps === 0 ? null : gapPackets / gaps,
  };
}
