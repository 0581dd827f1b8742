/**
 * What one packet costs the complete StreamTracker, whether it allocates, and whether a day's soak stays exact.
 *
 *   npx tsc -b packages/measure && node tests/bench/measure.bench.mjs          # a minute of it
 *   node tests/bench/measure.bench.mjs --day                                   # all 864 million packets of 24 h
 *
 * The soak is 10,000 packets/s of virtual time with a cut and a merge every second, as an agent and its controller do.
 * Each packet is a real call of `record`; every count is checked against what the pattern below makes of it.
 */
import assert from "node:assert/strict";
import { Session } from "node:inspector/promises";
import { performance } from "node:perf_hooks";
import v8 from "node:v8";
import vm from "node:vm";
import { mergeReceipts, StreamTracker, summariseReceipt } from "@dyetrace/measure";

v8.setFlagsFromString("--expose-gc");
const collect = vm.runInNewContext("gc");
const INTERVAL_NS = 1e5; // 10,000 packets/s

/** Of every 10,000 numbers one gap of 3, one late packet by 5 places, and one copy. Jitter of up to 20 µs. */
function runSecond(tracker, second) {
  const first = second * 10_000;
  for (let i = 0; i < 10_000; i++) {
    const seq = first + i;
    if (i >= 2000 && i < 2003) continue;
    if (i === 5000) continue;
    const sentNs = seq * INTERVAL_NS;
    const jitterNs = (seq * 7919) % 20_000;
    tracker.record(seq, sentNs, sentNs + 300_000 + jitterNs, 1316, 77, 8, 34);
    if (i === 5005)
      tracker.record(first + 5000, sentNs - 5 * INTERVAL_NS, sentNs + 300_000 + jitterNs, 1316, 77, 8, 34);
    if (i === 7000) tracker.record(seq, sentNs, sentNs + 300_000 + jitterNs, 1316, 77, 8, 34);
  }
}

const newTracker = () => new StreamTracker({ mediaRateBps: 105_280_000, seesHostDrops: true });

async function costPerPacket() {
  const tracker = newTracker();
  for (let second = 0; second < 100; second++) runSecond(tracker, second);
  const cpuBefore = process.cpuUsage();
  const begun = performance.now();
  const seconds = 500;
  for (let second = 100; second < 100 + seconds; second++) runSecond(tracker, second);
  const wallNs = (performance.now() - begun) * 1e6;
  const cpu = process.cpuUsage(cpuBefore);
  const packets = seconds * 9998;
  const cpuNs = (cpu.user * 1e3) / packets;
  console.log(`record: ${(wallNs / packets).toFixed(1)} ns per packet, ${cpuNs.toFixed(1)} ns of them on the CPU`);

  // Every allocation counts, collected since or not. What is left are numbers that V8 boxes for calls it does not inline.
  const session = new Session();
  session.connect();
  await session.post("HeapProfiler.startSampling", {
    samplingInterval: 1024,
    includeObjectsCollectedByMajorGC: true,
    includeObjectsCollectedByMinorGC: true,
  });
  for (let second = 600; second < 800; second++) runSecond(tracker, second);
  const { profile } = await session.post("HeapProfiler.stopSampling");
  session.disconnect();
  const sizeOf = (node) => node.children.reduce((sum, child) => sum + sizeOf(child), node.selfSize);
  console.log(`record: ${(sizeOf(profile.head) / (200 * 9998)).toFixed(1)} B allocated per packet`);
}

function soak(seconds) {
  const tracker = newTracker();
  const begun = performance.now();
  const cpuBefore = process.cpuUsage();
  collect();
  const heapStart = process.memoryUsage().heapUsed;
  let heapMax = 0;
  let total = null;
  for (let second = 0; second < seconds; second++) {
    runSecond(tracker, second);
    const receipt = second === seconds - 1 ? tracker.finish() : tracker.cut();
    total = total === null ? receipt : mergeReceipts(total, receipt);
    if (second % 3600 === 3599) {
      collect();
      heapMax = Math.max(heapMax, process.memoryUsage().heapUsed - heapStart);
    }
  }
  const wallS = (performance.now() - begun) / 1e3;
  const cpuS = process.cpuUsage(cpuBefore).user / 1e6;
  assert.equal(total.received, seconds * 9998);
  assert.equal(total.firstCopies, seconds * 9997);
  assert.equal(total.lost, seconds * 3);
  assert.equal(total.lossPeriods, seconds);
  assert.equal(total.duplicates, seconds);
  assert.equal(total.reordered, seconds);
  assert.equal(total.reorderExtentSum, seconds * 5); // five later numbers came before it
  assert.equal(total.latePackets, 0);
  assert.equal(total.receivedBytes, seconds * 9998 * 1316);
  assert.equal(total.pdvNs.count, seconds * 9997);
  const [span] = total.spans;
  assert.equal(total.spans.length, 1);
  assert.equal(span.endSeq - span.firstSeq, seconds * 10_000);
  assert.equal(span.lost.length + span.coarse.reduce((sum, range) => sum + range[5] / 3, 0), seconds);
  assert.equal(summariseReceipt(total).reorderExtentMean, 5);
  console.log(
    `soak: ${seconds} s of 10,000 packets/s, ${seconds} cuts and merges, all counts exact; ${wallS.toFixed(1)} s, of which ${cpuS.toFixed(1)} s on the CPU,` +
      ` ${((cpuS * 1e9) / (seconds * 9998)).toFixed(1)} ns of CPU per packet all told, heap grew by ${(heapMax / 1e6).toFixed(1)} MB`,
  );
}

await costPerPacket();
soak(process.argv.includes("--day") ? 86_400 : 3600);
