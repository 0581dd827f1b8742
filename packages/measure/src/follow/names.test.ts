import fc from "fast-check";
import { describe, expect, test } from "vitest";
import { joinNameBlocks, MOST_NAME_CHARACTERS, type Names, readNames, thinNames, writeNames } from "./name-block.ts";
import { NameList } from "./name-list.ts";
import { numberNames } from "./number-names.ts";
import { isSelected, payloadDigest } from "./payload-digest.ts";

const digest = fc.integer({ min: 1, max: 2 ** 32 - 1 });
const steps = fc.array(fc.tuple(digest, fc.integer({ min: 0, max: 3e9 }), fc.nat(9)), { maxLength: 60 });

/** @param packets digest, ns since the one before, transport stream packets missing before it */
function namesOf(packets: readonly (readonly [number, number, number])[]): Names {
  let atNs = 0;
  const timesNs = packets.map(([, stepNs]) => (atNs += stepNs));
  return { digests: packets.map(([one]) => one), timesNs, missing: packets.map(([, , missing]) => missing) };
}

describe("payloadDigest", () => {
  test("given payloads that differ in one bit, then their names differ, wherever the bit is", () => {
    const bytes = new Uint8Array(1316).fill(0x55);
    const names = new Set([payloadDigest(bytes, 0, bytes.length)]);
    for (let i = 0; i < bytes.length; i++) {
      for (const bit of [1, 128]) {
        bytes[i] = 0x55 ^ bit;
        names.add(payloadDigest(bytes, 0, bytes.length));
        bytes[i] = 0x55;
      }
    }
    expect(names.size).toBe(1 + 2 * bytes.length);
  });

  test("given a payload anywhere in a buffer, then its name is the same", () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 300 }), fc.nat(20), (payload, at) => {
        const buffer = new Uint8Array(at + payload.length + 9).fill(7);
        buffer.set(payload, at);
        expect(payloadDigest(buffer, at, payload.length)).toBe(payloadDigest(payload, 0, payload.length));
      }),
    );
  });

  test("given payloads that count up, then one in 2^shift is selected, within 4 standard deviations of the binomial", () => {
    const bytes = new Uint8Array(200);
    const view = new DataView(bytes.buffer);
    const packets = 60_000;
    for (const shift of [1, 4, 7]) {
      let selected = 0;
      for (let i = 0; i < packets; i++) {
        view.setUint32(40, i);
        if (isSelected(payloadDigest(bytes, 0, bytes.length), shift)) selected += 1;
      }
      const share = 2 ** -shift;
      expect(Math.abs(selected - packets * share)).toBeLessThan(4 * Math.sqrt(packets * share * (1 - share)));
    }
  });
});

describe("name blocks", () => {
  test("given any names, then what was written is read again, times to 8 µs, long silences too", () => {
    fc.assert(
      fc.property(steps, (packets) => {
        const names = namesOf(packets);
        const read = readNames(writeNames(names, 0));
        expect(read.digests).toEqual(names.digests);
        expect(read.missing).toEqual(names.missing);
        for (const [i, atNs] of read.timesNs.entries())
          expect(Math.abs(atNs - (names.timesNs[i] ?? 0))).toBeLessThanOrEqual(8000);
      }),
    );
  });

  test("given any text, then reading never throws", () => {
    fc.assert(
      fc.property(fc.string(), fc.array(fc.tuple(fc.nat(), fc.nat())), (text, breaks) => {
        readNames({ shift: 0, baseNs: 0, text, breaks });
      }),
    );
  });

  test("given names thinned twice or once to the same rate, then the same are left and nothing missing is forgotten", () => {
    fc.assert(
      fc.property(steps, (packets) => {
        const names = namesOf(packets);
        expect(thinNames(thinNames(names, 1), 3)).toEqual(thinNames(names, 3));
        expect(thinNames(names, 0)).toEqual(names);
      }),
    );
  });

  test("given more blocks than find room, then fewer packets are compared, the same ones everywhere", () => {
    const many = namesOf(Array.from({ length: 20_000 }, (_, i) => [Math.imul(i + 1, 0x9e3779b1) >>> 0 || 1, 8000, 0]));
    const block = writeNames(many, 0);
    const joined = joinNameBlocks(new Array(6).fill(block), [block]);
    expect(joined.reduce((sum, { text }) => sum + text.length, 0)).toBeLessThanOrEqual(MOST_NAME_CHARACTERS);
    expect(joined[0]?.shift).toBe(1);
    expect(joined.flatMap((one) => readNames(one).digests).every((one) => isSelected(one, 1))).toBe(true);
  });

  test("given a stream faster than the list, then what is left is what its rate selects", () => {
    const list = new NameList(100);
    const digests = Array.from({ length: 3000 }, (_, i) => Math.imul(i + 1, 0x9e3779b1) >>> 0);
    for (const [i, one] of digests.entries()) list.add(one, i * 1000, i === 5 ? 3 : 0);
    const block = list.take();
    const shift = block?.shift ?? 0;
    expect(shift).toBeGreaterThanOrEqual(5);
    const read = block === null ? null : readNames(block);
    expect(read?.digests).toEqual(digests.filter((one) => isSelected(one, shift)));
    expect(read?.missing.reduce((sum, one) => sum + one, 0)).toBe(3);
    expect(list.take()).toBeNull();
  });
});

/** Names of a stream in which each packet has its own, 1 ms apart. */
const stream = (length: number): Names => namesOf(Array.from({ length }, (_, i) => [1000 + i, 1e6, 0] as const));
const without = ({ digests, timesNs, missing }: Names, lost: ReadonlySet<number>, offNs = 0): Names => {
  const kept = digests.map((_, i) => i).filter((i) => !lost.has(i));
  const pick = (all: readonly number[]): number[] => kept.map((i) => all[i] ?? 0);
  return { digests: pick(digests), timesNs: pick(timesNs).map((atNs) => atNs + offNs), missing: pick(missing) };
};

describe("numberNames", () => {
  test("given hosts that each lost other packets, then what anybody had has its number in the stream's order", () => {
    const losses = fc.array(fc.uniqueArray(fc.nat(199), { maxLength: 60 }), { minLength: 2, maxLength: 5 });
    fc.assert(
      fc.property(
        losses,
        fc.array(fc.integer({ min: -20e6, max: 20e6 }), { minLength: 5, maxLength: 5 }),
        (lost, offs) => {
          const all = stream(200);
          const lists = lost.map((own, i) => without(all, new Set(own), offs[i] ?? 0));
          const { numbers, endSeq, isTold, repeats } = numberNames(lists, 1);
          const union = [...new Set(lists.flatMap(({ digests }) => digests))];
          expect(isTold).toBe(true);
          expect(repeats).toBe(0);
          expect(endSeq).toBe(union.length);
          const seqOf = new Map<number, number>();
          for (const [i, { digests }] of lists.entries()) {
            for (const [at, one] of digests.entries()) {
              const seq = numbers[i]?.[at] ?? -1;
              expect(seqOf.get(one) ?? seq).toBe(seq); // every host agrees
              seqOf.set(one, seq);
            }
            expect(numbers[i]).toEqual((numbers[i] ?? []).toSorted((a, b) => a - b)); // nobody is told to have reordered
          }
        },
      ),
      { numRuns: 200 },
    );
  });

  test("given a packet that all lost and whose neighbours' counters show it, then a number is left out for it", () => {
    const all = stream(10);
    const after = { ...all, missing: all.missing.map((_, i) => (i === 5 ? 7 : 0)) }; // a datagram of 7 packets before number 5
    const { numbers, missingToAll, endSeq } = numberNames(
      [without(after, new Set([4])), without(after, new Set([4, 8]))],
      7,
    );
    expect(missingToAll).toBe(1);
    expect(endSeq).toBe(10);
    expect(numbers[0]).toEqual([0, 1, 2, 3, 5, 6, 7, 8, 9]);
    expect(numbers[1]).toEqual([0, 1, 2, 3, 5, 6, 7, 9]);
  });

  test("given a packet that one host had twice, then both bear its number", () => {
    const all = stream(4);
    const twice: Names = {
      digests: [1000, 1001, 1001, 1002, 1003],
      timesNs: [0, 1e6, 1.1e6, 2e6, 3e6],
      missing: [0, 0, 0, 0, 0],
    };
    const { numbers, repeats } = numberNames([all, twice], 1);
    expect(numbers[1]).toEqual([0, 1, 1, 2, 3]);
    expect(repeats).toBe(1);
  });

  test("given packets in another order at one host, then they keep their numbers", () => {
    const all = stream(5);
    const late: Names = { ...all, digests: [1000, 1002, 1001, 1003, 1004] };
    expect(numberNames([all, all, late], 1).numbers[2]).toEqual([0, 2, 1, 3, 4]);
  });

  test("given a payload that is sent again and again, then packets are said to be indistinguishable", () => {
    const same = namesOf(Array.from({ length: 500 }, () => [77, 1e6, 0] as const));
    expect(numberNames([same, same], 1).isTold).toBe(false);
  });

  test("given a payload that comes again after seconds, then those are two packets", () => {
    const rare = namesOf(Array.from({ length: 5 }, () => [77, 3e9, 0] as const));
    expect(numberNames([rare, rare], 1).numbers[1]).toEqual([0, 1, 2, 3, 4]);
  });
});
