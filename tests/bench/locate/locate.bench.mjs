/**
 * How often the localiser is right, on random sites with random agents and faults, and how fast it is.
 *
 *   npx tsc -b packages/locate && node tests/bench/locate/locate.bench.mjs            # all of it, half an hour
 *   node tests/bench/locate/locate.bench.mjs --quick                                  # a tenth of the sites
 *   node tests/bench/locate/locate.bench.mjs --seed 7
 *   node tests/bench/locate/locate.bench.mjs --only late-start,lying-agent            # these classes alone
 *   node tests/bench/locate/locate.bench.mjs --only classes                           # all classes, nothing else
 *   node tests/bench/locate/locate.bench.mjs --only declared                          # worlds as the plan has them, nothing else
 *   node tests/bench/locate/locate.bench.mjs --only speed                             # large runs, nothing else
 *
 * Scored are faults that leave a trace: without the fault somebody would have received something. The truth is what the
 * simulation put in. Then come classes of worlds that are not as declared (tests/simulation/classes). Exit code 1 if a target is missed.
 */
import { parseArgs } from "node:util";
import { locate } from "@dyetrace/locate";
import { classNames, playClasses } from "./class-bench.mjs";
import { largeRun } from "./large-run.mjs";
import { drawStopScene, playLeak, playLoss, playStops, seededRandom, truthOf } from "./simulation.mjs";
import { deadSwitchRun, floodedRun, silentHostsRun, soundRun } from "./speed-scenes.mjs";

const { values: options } = parseArgs({
  options: {
    quick: { type: "boolean", default: false },
    seed: { type: "string", default: "1" },
    only: { type: "string", default: "" },
    cases: { type: "string", default: "" },
  },
});
const seed = Number(options.seed);
const sites = (count) => (options.quick ? Math.ceil(count / 10) : count);
const only = options.only === "" ? [] : options.only.split(",");
const PARTS = ["declared", "classes", "speed"];
const unknown = only.filter((name) => !PARTS.includes(name) && !classNames().includes(name));
if (unknown.length > 0) {
  console.error(`No class is called ${unknown.join(", ")}: --only takes ${[...PARTS, ...classNames()].join(", ")}`);
  process.exit(2);
}
const rows = [];
/** Findings by stated confidence, all families together: how many, and how many of them right. */
const calibration = new Map();

function report(what, measured, target, isMet) {
  rows.push({ what, measured, target, ok: isMet === null ? "" : isMet ? "yes" : "NO" });
  console.log(`${isMet === false ? "NO " : "   "} ${what}: ${measured}${target === "" ? "" : ` (target ${target})`}`);
}

function calibrate(finding, isRight) {
  const bin = calibration.get(finding.confidence) ?? { findings: 0, right: 0 };
  bin.findings++;
  bin.right += isRight ? 1 : 0;
  calibration.set(finding.confidence, bin);
}

const share = (part, whole) => (whole === 0 ? "no case" : `${((100 * part) / whole).toFixed(2)} % of ${whole}`);
const isAtLeast = (part, whole, ratio) => whole > 0 && part / whole >= ratio;

function stops(faultCount, count) {
  const random = seededRandom(seed * 1000 + faultCount);
  const tally = { faults: 0, found: 0, first: 0, findings: 0, falseBlame: 0 };
  const sizes = [];
  for (let site = 0; site < count; ) {
    const outcome = playStops(drawStopScene(random, 5, 300), faultCount, random);
    if (outcome === null) continue;
    site++;
    const { faults, found, findings, falseBlame } = outcome;
    tally.faults += faults.length;
    tally.found += found.length;
    tally.first += faults.filter((f) => findings.some((finding) => finding.suspects[0] === truthOf(f))).length;
    tally.findings += findings.length;
    tally.falseBlame += falseBlame.length;
    for (const finding of findings) {
      sizes.push(finding.suspects.length);
      calibrate(finding, !falseBlame.includes(finding));
    }
  }
  sizes.sort((a, b) => a - b);
  const target = { 1: 0.995, 2: 0.97 }[faultCount];
  const name = `${faultCount} fault${faultCount === 1 ? "" : "s"}, ${count} sites`;
  report(
    `${name}: truth among the suspects`,
    share(tally.found, tally.faults),
    target === undefined ? "" : `>= ${100 * target} %`,
    target === undefined ? null : isAtLeast(tally.found, tally.faults, target),
  );
  report(`${name}: truth is the first suspect`, share(tally.first, tally.faults), "", null);
  report(`${name}: findings without a true place`, share(tally.falseBlame, tally.findings), "", null);
  const mean = sizes.reduce((sum, size) => sum + size, 0) / sizes.length;
  report(`${name}: suspects per finding`, `median ${sizes[sizes.length >> 1]}, mean ${mean.toFixed(2)}`, "", null);
}

/** Sites with many sources, on which a plan can tell more apart. Single dead segments and nodes. */
function sharpness(count) {
  const random = seededRandom(seed * 1000 + 9);
  let [judged, sharp] = [0, 0];
  for (let site = 0; site < count; site++) {
    const outcome = playStops(drawStopScene(random, 8, 60, 12), 1, random);
    if (outcome === null || outcome.isSharp === null) continue;
    judged++;
    sharp += outcome.isSharp ? 1 : 0;
  }
  report(
    `1 fault, ${count} sites of many sources: no suspect that the plan can tell from the truth`,
    share(sharp, judged),
    ">= 99 %",
    isAtLeast(sharp, judged, 0.99),
  );
}

/**
 * Single faults that the plan can tell from all others. A dead direction of a link never is one where the other direction
 * carries reports that are needed; dead switches with several sources around them are, so those are put in.
 */
function pinning(count) {
  const random = seededRandom(seed * 1000 + 10);
  let [pinnable, pinned] = [0, 0];
  for (let site = 0; site < count; site++) {
    const scene = drawStopScene(random, 8, 60, 30);
    const candidates = scene.candidates.filter(({ kind }) => kind === "dead-node");
    const outcome = candidates.length === 0 ? null : playStops({ ...scene, candidates }, 1, random);
    if (outcome === null || !outcome.isPinnable) continue;
    pinnable++;
    pinned += outcome.findings.length === 1 && outcome.findings[0].suspects.length === 1 ? 1 : 0;
  }
  report(
    `1 fault, ${count} sites of many sources: the only suspect where the plan can tell it from all others`,
    share(pinned, pinnable),
    ">= 99 %",
    isAtLeast(pinned, pinnable, 0.99),
  );
}

function losses() {
  const healthy = { leastNodes: 5, mostNodes: 300, packets: 10_000, lossyShare: 0, mostRatio: 0, background: 1e-5 };
  const sound = playMany({ ...healthy, burstPackets: 1 }, sites(1000), 11);
  report(
    `healthy sites with 0.001 % background loss: ${sites(1000)} sites, findings`,
    String(sound.falseBlame),
    "0",
    sound.falseBlame === 0,
  );
  const lossy = { leastNodes: 8, mostNodes: 60, packets: 10_000, lossyShare: 0.5, mostRatio: 0.05, background: 2e-4 };
  const independent = playMany({ ...lossy, burstPackets: 1 }, sites(400), 12);
  intervals("independent losses", independent.intervals, [0.93, 0.97]);
  report("independent losses: segments of 1 % and more named", share(independent.found, independent.lossy), "", null);
  report("independent losses: sound segments named", String(independent.falseBlame), "0", independent.falseBlame === 0);
  const bursty = playMany({ ...lossy, packets: 20_000, burstPackets: 5 }, sites(400), 13);
  intervals("bursts of 5 on average", bursty.intervals, [0.93, 0.97]);
  report("bursts: segments of 1 % and more named", share(bursty.found, bursty.lossy), "", null);
}

function playMany(scene, count, salt) {
  const random = seededRandom(seed * 1000 + salt);
  const sum = { intervals: [], falseBlame: 0, lossy: 0, found: 0 };
  for (let site = 0; site < count; site++) {
    const { intervals: some, falseBlame, lossy, found } = playLoss(scene, random);
    sum.intervals.push(...some);
    sum.falseBlame += falseBlame.length;
    sum.lossy += lossy;
    sum.found += found;
  }
  return sum;
}

function intervals(name, all, [least, most]) {
  const holds = ({ trueRatio, low, high }) => trueRatio >= low && trueRatio <= high;
  const held = all.filter(holds).length;
  const isMet = held / all.length >= least && held / all.length <= most;
  report(
    `${name}: 95 % intervals that hold the truth`,
    share(held, all.length),
    `${100 * least} to ${100 * most} %`,
    isMet,
  );
  const above = all.filter((one) => one.trueRatio < one.low).length;
  report(`${name}: truth below, above the interval`, `${above}, ${all.length - held - above}`, "", null);
  for (const [from, to] of [
    [0, 5],
    [5, 20],
    [20, Number.POSITIVE_INFINITY],
  ]) {
    const some = all.filter((one) => one.expectedLosses >= from && one.expectedLosses < to);
    report(`${name}, ${from} to ${to} losses expected`, share(some.filter(holds).length, some.length), "", null);
  }
}

function leaks() {
  const random = seededRandom(seed * 1000 + 21);
  let [seen, found, findings, falseBlame, healthyFindings] = [0, 0, 0, 0, 0];
  while (seen < sites(1000)) {
    const outcome = playLeak(true, random);
    if (outcome === null) continue;
    seen++;
    found += outcome.isFound ? 1 : 0;
    findings += outcome.findings.length;
    falseBlame += outcome.falseBlame.length;
    for (const finding of outcome.findings) calibrate(finding, !outcome.falseBlame.includes(finding));
  }
  for (let site = 0; site < sites(500); site++) healthyFindings += playLeak(false, random)?.findings.length ?? 0;
  report(`one leak, ${sites(1000)} sites: truth among the suspects`, share(found, seen), "", null);
  report("one leak: findings without a true place", share(falseBlame, findings), "", null);
  report(`no leak, ${sites(500)} sites with bystanders: findings`, String(healthyFindings), "0", healthyFindings === 0);
}

/**
 * Processor time of all threads, since the machine may be busy otherwise. The first call still compiles, and counts all the
 * same: a controller may have concluded nothing before.
 */
function speed() {
  const { graph, run, gaps } = largeRun();
  report("1,000 listeners, 100 streams, gaps in all", String(gaps), "", null);
  reportCpu("the same: first call of the process", () => locate(graph, run), 1.5);
  const megabytes = process.memoryUsage().rss / 1e6;
  report(
    "the same: memory of the process, observations included",
    `${megabytes.toFixed(0)} MB`,
    "< 500 MB",
    megabytes < 500,
  );
  reportCpu("the same: second call", () => locate(graph, run), 1);
  const flooded = floodedRun(1_000, 100);
  reportCpu("1,000 hosts, 100 streams, no switch snoops", () => locate(flooded.graph, flooded.run), 3);
  const silent = silentHostsRun(1_000, 100, 0.133);
  reportCpu("1,000 listeners, 100 streams, 116 single hosts silent", () => locate(silent.graph, silent.run), 3);
}

/** How the time grows with the listeners of ten streams. */
function growth() {
  for (const listeners of [100, 1_000, 5_000, 20_000]) {
    for (const [what, scene] of [
      ["a few packets lost", soundRun(listeners, GROWTH_STREAMS)],
      ["one switch dead", deadSwitchRun(listeners, GROWTH_STREAMS)],
    ]) {
      reportCpu(
        `${listeners} listeners, ${GROWTH_STREAMS} streams, ${what}`,
        () => locate(scene.graph, scene.run),
        null,
      );
    }
  }
}

const GROWTH_STREAMS = 10;

function reportCpu(what, work, mostSeconds) {
  const began = process.cpuUsage();
  work();
  const { user, system } = process.cpuUsage(began);
  const seconds = (user + system) / 1e6;
  const target = mostSeconds === null ? "" : `< ${mostSeconds} s`;
  report(what, `${seconds.toFixed(2)} s of CPU`, target, mostSeconds === null ? null : seconds < mostSeconds);
}

function asDeclared() {
  speed();
  growth();
  stops(1, sites(2000));
  sharpness(sites(2000));
  pinning(sites(2000));
  stops(2, sites(1000));
  stops(3, sites(500));
  losses();
  leaks();
  console.log("\nConfidence against truth:");
  console.table(
    [...calibration]
      .sort(([a], [b]) => b - a)
      .map(([confidence, { findings, right }]) => ({
        confidence,
        findings,
        right: `${((100 * right) / findings).toFixed(1)} %`,
      })),
  );
}

if (only.length === 0 || only.includes("declared")) asDeclared();
if (only.includes("speed")) {
  speed();
  growth();
}
const classes = only.filter((name) => !PARTS.includes(name));
const cases = options.cases === "" ? sites(500) : Number(options.cases);
if (only.length === 0 || only.includes("classes") || classes.length > 0)
  playClasses({ cases, only: classes, seed, report });
console.table(rows);
if (rows.some((row) => row.ok === "NO")) process.exitCode = 1;
