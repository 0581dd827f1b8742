/**
 * How many bytes one second's receipt takes on the control link (as it is written there) and in the store (packed), at 200
 * and 1,000 packets/s, without loss and with some. Means over ten minutes: the delay variation of ten seconds comes out at
 * once.
 *
 *   npx tsc -b packages/measure controller && node tests/bench/receipt-bytes.mjs [--fields]
 *
 * On 2026-11-29, before what nobody read was taken out, and after (mean, and the greatest of 600):
 *
 *                                                before: JSON        packed    after: JSON        packed
 *   200 packets/s, nothing lost                   2890 (4222)   1165 (1725)    467 (1252)     281 (585)
 *   1,000 packets/s, nothing lost                 6606 (8352)   2371 (3142)    543 (1452)     312 (673)
 *   200 packets/s, 1 % lost in clusters           2900 (4323)   1176 (1768)    523 (1400)     305 (645)
 *   1,000 packets/s, 1 % lost in clusters         6659 (8441)   2423 (3244)    708 (1775)     387 (828)
 *
 * Arrivals are made from a fixed seed: the delays of a quiet switched network as seen by two free clocks that drift 20
 * millionths apart (40 µs of spread, one packet in 200 up to 400 µs late, one in 500 overtaken by the next) and, with
 * loss, 1 % of the packets in clusters of 5 on average (Gilbert). From memory of such networks, no source.
 */
import { StreamTracker } from "@dyetrace/measure";
import { shortenReceipt } from "@dyetrace/wire";
import { packJson } from "../../controller/dist/store/pack/pack-json.js";

const SECONDS = 600;
const SECOND_NS = 1e9;
const PAYLOAD_BYTES = 1316;

/** mulberry32: small, and the same on every machine. */
function randomOf(seed) {
  let state = seed;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

/** @returns arrivals in their order: [seq, sentNs, arrivalNs] */
function* arrivals(rate, hasLoss) {
  const random = randomOf(rate);
  const intervalNs = SECOND_NS / rate;
  let isBad = false;
  let held = null;
  for (let seq = 0; seq < SECONDS * rate; seq++) {
    isBad = hasLoss && random() < (isBad ? 0.8 : 0.2 / 99); // 5 packets on average, 1 % of all
    if (isBad) continue;
    const dueNs = seq * intervalNs;
    const late = random() < 1 / 200 ? random() * 400e3 : 0;
    const delayNs = 150e3 + 40e3 * (random() + random() + random() - 1.5) ** 2 + late;
    const packet = [seq, Math.round(dueNs * 1.00002 + 17e12), Math.round(dueNs + delayNs)];
    if (held === null && random() < 1 / 500) {
      held = packet;
      continue;
    }
    yield packet;
    if (held !== null) yield [held[0], held[1], packet[2] + 20e3];
    held = null;
  }
}

/** @returns the receipts of each second, as an agent cuts them */
function receipts(rate, hasLoss) {
  const tracker = new StreamTracker({
    mediaRateBps: rate * PAYLOAD_BYTES * 8,
    seesHostDrops: true,
  });
  const cut = [];
  let lastNs = 0;
  for (const [seq, sentNs, arrivalNs] of arrivals(rate, hasLoss)) {
    const atNs = Math.max(lastNs, arrivalNs);
    lastNs = atNs;
    while (atNs >= (cut.length + 1) * SECOND_NS) cut.push(tracker.cut());
    tracker.record(seq, sentNs, atNs, PAYLOAD_BYTES, 3735928559, 8, 34);
  }
  return cut;
}

const mean = (values) => Math.round(values.reduce((sum, value) => sum + value, 0) / values.length);

console.log("bytes of a one-second receipt: mean (most)        as JSON        packed");
for (const hasLoss of [false, true]) {
  for (const rate of [200, 1000]) {
    const all = receipts(rate, hasLoss).map(shortenReceipt);
    const json = all.map((receipt) => JSON.stringify(receipt).length);
    const packed = all.map((receipt) => packJson(receipt).length);
    const cell = (values) => `${mean(values)} (${Math.max(...values)})`.padStart(14);
    const name = `${rate} packets/s, ${hasLoss ? "1 % lost in clusters" : "nothing lost"}`.padEnd(46);
    console.log(`${name}${cell(json)}${cell(packed)}`);
    if (process.argv.includes("--fields")) printFields(all);
  }
}

/** Where the bytes are: the mean of each field, greatest first. */
function printFields(all) {
  const names = new Set(all.flatMap((receipt) => Object.keys(receipt)));
  const sizes = [...names].map((name) => [
    name,
    mean(all.map((receipt) => (name in receipt ? JSON.stringify({ [name]: receipt[name] }).length - 1 : 0))),
  ]);
  for (const [name, bytes] of sizes.toSorted((a, b) => b[1] - a[1])) console.log(`    ${name.padEnd(24)}${bytes}`);
}
