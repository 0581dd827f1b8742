/**
 * Following streams that flow already, without a network. No part of `npm test`. `gstreamer.bench.mjs` beside it has one.
 *
 *   npm run build && node tests/bench/follow/follow.bench.mjs            # all of it, some minutes
 *   node tests/bench/follow/follow.bench.mjs --only links                # or mutated, agreement, cost
 *
 * `mutated`: a million media packets, one in three with bits turned: nothing thrown, no false loss. `agreement`: 100 agents that
 * follow 10,000 packets/s: names that collide, and what one packet costs the controller. `cost`: one packet at an agent against one
 * of our own streams. `links` (after `tsc -p tests/simulation`): a drop on each link of the demo's plan in turn, 1 % and whole, for a stream
 * of our own and four kinds of media, to groups of IPv4, of IPv6, and joined with their source: one table.
 */
import { readFileSync } from "node:fs";
import { parseArgs } from "node:util";
import { numberNames, ProductionFollower, payloadDigest, StreamTracker } from "@dyetrace/measure";

const { values: options } = parseArgs({ options: { only: { type: "string" } } });
const parts = { cost, mutated, agreement, links };
for (const [name, part] of Object.entries(parts)) {
  if (options.only === undefined || options.only === name) await part();
}

function generator(seed) {
  let state = seed;
  return () => {
    state = (Math.imul(state, 1_103_515_245) + 12_345) >>> 0;
    return state / 2 ** 32;
  };
}

/** RTP around a transport stream, or the transport stream alone. */
function mediaPacket(random, seq, isRtp) {
  const head = isRtp ? 12 : 0;
  const bytes = new Uint8Array(head + 7 * 188);
  for (let i = head; i < bytes.length; i += 5) bytes[i] = random() * 256;
  if (isRtp) bytes.set([0x80, 33, (seq >> 8) & 255, seq & 255, 0, 0, 0, 0, 0, 0, 0, 7]);
  for (let i = 0; i < 7; i++) bytes.set([0x47, 1, 1, 0x10 | ((seq * 7 + i) & 15)], head + i * 188);
  return bytes;
}

/** Processor time of one packet, at an agent. */
function cost() {
  const packets = 4000;
  const rounds = 100;
  const random = generator(3);
  const nsOf = (take) => {
    take();
    const began = process.cpuUsage();
    for (let round = 0; round < rounds; round++) take();
    return (process.cpuUsage(began).user * 1e3) / (rounds * packets);
  };
  const tracker = new StreamTracker({ mediaRateBps: 8e6, seesHostDrops: false });
  let seq = 0;
  const own = nsOf(() => {
    for (let i = 0; i < packets; i++, seq++) tracker.record(seq, seq * 1e6, seq * 1e6, 1316, 1, 5, 0);
    tracker.cut();
  });
  console.log(`own stream, after its packet is read: ${own.toFixed(0)} ns of processor a packet`);
  for (const [name, format, isRtp] of [
    ["RTP", "rtp", true],
    ["MPEG-TS", "mpeg-ts", false],
    ["by digests alone", "any", false],
  ]) {
    const media = Array.from({ length: packets }, (_, i) => mediaPacket(random, i, isRtp));
    const block = new Uint8Array(packets * 1328);
    for (const [i, bytes] of media.entries()) block.set(bytes, i * 1328);
    const follower = new ProductionFollower(format, 2000, false);
    const size = media[0].length;
    let atNs = 0;
    const ns = nsOf(() => {
      for (let i = 0; i < packets; i++, atNs += 1e5) follower.take(block, i * 1328, size, size, atNs, 5, 0);
      follower.cut(false);
    });
    // The kernel's share is the same for both: 200,000 packets/s by the trial of the design, which is 5,000 ns a packet.
    console.log(
      `${name}: ${ns.toFixed(0)} ns; with 5000 ns of kernel and socket for both ${((5000 + ns) / (5000 + own)).toFixed(2)} times our own`,
    );
  }
}

function mutated() {
  const random = generator(1);
  const packets = 1_000_000;
  let falseLoss = 0;
  const began = performance.now();
  for (const [format, isRtp] of [
    [null, true],
    ["rtp", true],
    ["mpeg-ts", false],
    ["any", false],
  ]) {
    const follower = new ProductionFollower(format, 2000, false);
    for (let i = 0; i < packets / 4; i++) {
      const bytes = mediaPacket(random, i & 0xffff, isRtp);
      follower.take(bytes, 0, bytes.length, bytes.length, i * 1e6, 5, 0);
      if (i % 3 === 0) {
        const strange = bytes.slice(0, random() < 0.3 ? Math.floor(random() * bytes.length) : bytes.length);
        for (let turn = 0; turn < 6 && strange.length > 0; turn++) {
          const at = Math.floor(random() * (turn < 3 ? Math.min(40, strange.length) : strange.length));
          strange[at] ^= 1 << Math.floor(random() * 8);
        }
        follower.take(strange, 0, strange.length, strange.length, i * 1e6 + 1000, 5, 0);
      }
      if (i % 1000 === 999)
        for (const { ssrc, receipt } of follower.cut(false).rtp) if (ssrc === 7) falseLoss += receipt.lost;
    }
    for (const { ssrc, receipt } of follower.cut(true).rtp) if (ssrc === 7) falseLoss += receipt.lost;
  }
  console.log(
    `mutated: ${packets} media packets and ${(packets / 3) | 0} mutated ones, none threw, ${falseLoss} told as lost, ${((performance.now() - began) / 1000).toFixed(0)} s`,
  );
}

/** Each agent loses 1 % by itself; whoever compares must find that, and nothing else. */
function agreement() {
  const agents = 100;
  const seconds = 10;
  const perSecond = 10_000;
  const random = generator(5);
  const payload = new Uint8Array(400);
  const view = new DataView(payload.buffer);
  const digests = new Uint32Array(seconds * perSecond);
  for (let i = 0; i < digests.length; i++) {
    for (let at = 0; at < 400; at += 40) view.setUint32(at, random() * 2 ** 32);
    view.setUint32(20, i);
    digests[i] = payloadDigest(payload, 0, 400);
  }
  const distinct = new Set(digests).size;
  console.log(
    `agreement: ${digests.length} packets, ${digests.length - distinct} names collide (of 32 bits, ${(digests.length ** 2 / 2 ** 33).toFixed(2)} by chance)`,
  );
  const shift = 3; // as an agent with room for 2000 names a second comes to
  const lists = Array.from({ length: agents }, (_, agent) => {
    const names = { digests: [], timesNs: [], missing: [] };
    for (let i = 0; i < digests.length; i++) {
      if (digests[i] >>> (32 - shift) !== 0 || random() < 0.01) continue;
      names.digests.push(digests[i]);
      names.timesNs.push(i * 1e5 + agent * 20_000);
      names.missing.push(0);
    }
    return names;
  });
  const sightings = lists.reduce((sum, one) => sum + one.digests.length, 0);
  const began = process.cpuUsage();
  const { numbers, endSeq, repeats } = numberNames(lists, 1);
  const ns = (process.cpuUsage(began).user * 1e3) / sightings;
  const selected = digests.reduce((sum, one) => sum + (one >>> (32 - shift) === 0 ? 1 : 0), 0);
  const disordered = numbers.reduce(
    (sum, own) => sum + own.reduce((more, seq, i) => more + (i > 0 && seq < own[i - 1] ? 1 : 0), 0),
    0,
  );
  console.log(
    `agreement: one packet in ${2 ** shift} compared: ${selected} sent, ${endSeq} numbered, ${repeats} repeats, ${disordered} of ${sightings} out of order, ${ns.toFixed(0)} ns of processor a sighting`,
  );
}

async function links() {
  const at = (file) => import(new URL(`../../simulation/dist/tests/simulation/${file}.js`, import.meta.url).href);
  const { drawMedia, MEDIA_KINDS } = await at("followed/draw-media");
  const { followMedia } = await at("followed/follow-media");
  const { conclude, crossedSegments, followedSite, followRun, lossOn, ownRun } = await at("followed/follow-scene");
  const { simulateEvidence } = await at("simulate-evidence");
  const { seededRandom } = await at("seeded-random");
  const demo = readFileSync(new URL("../../../packages/practice/demo/quillfen.yaml", import.meta.url), "utf8");
  const graph = followedSite(demo);
  const [seconds, packetsPerSecond] = [10, 400];
  const segments = crossedSegments(graph, "encoder", followRun(graph, seconds));
  const ratios = [0.01, 1];
  /** @param findingsOf the findings where packets come as told */
  const measure = (findingsOf) => {
    const missed = [];
    let wrong = 0;
    for (const segment of segments) {
      for (const ratio of ratios) {
        const findings = findingsOf(lossOn(graph, "encoder", new Map([[segment, ratio]]), seededRandom(7)));
        if (!findings.some(({ suspects }) => suspects.includes(segment))) missed.push(`${segment} at ${ratio * 100} %`);
        wrong += findings.filter(({ suspects }) => suspects.length > 0 && !suspects.includes(segment)).length;
      }
    }
    return {
      found: segments.length * ratios.length - missed.length,
      missed,
      wrong,
      healthy: findingsOf(() => "comes").length,
    };
  };
  const tried = segments.length * ratios.length;
  console.log(`links: ${segments.length} segments, each with 1 % and all of its packets dropped`);
  console.log(
    "stream               group           link among the suspects   findings elsewhere   findings when healthy",
  );
  for (const group of ["239.196.4.7", "ff15::8000:77", "232.196.4.7", "ff35::8000:77"]) {
    const say = (stream, { found, missed, wrong, healthy }) =>
      console.log(
        `${stream.padEnd(21)}${group.padEnd(16)}${`${found} of ${tried}`.padEnd(26)}${String(wrong).padEnd(21)}${healthy}${missed.length === 0 ? "" : `   not: ${missed.join(", ")}`}`,
      );
    const [own, ownGraph] = ownRun(demo, seconds, packetsPerSecond, group);
    say(
      "our own",
      measure((comesTo) => {
        const isLost = (_, agent, seq) => comesTo(agent, seq) === "lost";
        return conclude(own, simulateEvidence(own, isLost), ownGraph).findings;
      }),
    );
    const run = followRun(graph, seconds, "from: encoder", undefined, group);
    for (const kind of MEDIA_KINDS) {
      const media = drawMedia(kind, { seconds: 15, packetsPerSecond, random: seededRandom(1) }).map(
        ({ bytes, atNs }) => ({
          bytes,
          atNs: atNs - 3e9,
        }),
      );
      say(
        kind,
        measure((comesTo) => conclude(run, followMedia(run, media, comesTo, { sender: "10.4.0.9" }), graph).findings),
      );
    }
  }
}
