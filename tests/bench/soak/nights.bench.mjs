/**
 * Nights of which is known what happened, seed by seed: 40 incidents of nine kinds over steady loss at two hosts. Prints what
 * was missed, invented, and told at a wrong time, the patterns that were told though nothing repeats, and the memory that a
 * night took at most, each in a process of its own. Fails where anything is missed or invented, or takes 300 MB or more.
 *
 *   npm run build && node tests/bench/soak/nights.bench.mjs [--nights 20] [--seed 1] [--hours 8] [--incidents 40] [--json FILE]
 */
import { execFileSync } from "node:child_process";
import { writeFileSync } from "node:fs";
import { fileURLToPath } from "node:url";
import { parseArgs } from "node:util";

const { values: options } = parseArgs({
  options: {
    nights: { type: "string", default: "20" },
    seed: { type: "string", default: "1" },
    hours: { type: "string", default: "8" },
    incidents: { type: "string", default: "40" },
    json: { type: "string" },
    /** One night, of this seed, in this process. */
    only: { type: "string" },
  },
});
const MOST_MB = 300;
const percentile = (sorted, share) => sorted[Math.min(sorted.length - 1, Math.floor(share * sorted.length))] ?? 0;

if (options.only !== undefined) await playOne(Number(options.only));
else playAll();

/** Says what came of it as JSON. */
async function playOne(seed) {
  const simulated = new URL("../../simulation/dist/", import.meta.url);
  const night = (name) => import(new URL(`tests/simulation/night/${name}.js`, simulated));
  const [{ drawNight }, { storeNight }, { judgeNight }] = await Promise.all(
    ["night-scene", "play-night", "judge-night"].map(night),
  );
  const { openStore } = await import("../../../controller/dist/store/store.js");
  const { summariseNight } = await import("../../../controller/dist/night/morning/night-summary.js");
  const lengthS = Number(options.hours) * 3600;
  const scene = drawNight(seed, Number(options.incidents), lengthS);
  const store = await openStore({ kind: "memory" });
  await storeNight(store, scene, false);
  const from = performance.now();
  const record = await store.runs.get(scene.run.runId);
  const told = await summariseNight(store, record, Date.parse(record.startedAt) + lengthS * 1000);
  const tellingMs = performance.now() - from;
  await store.close();
  const { missed, invented, errorsMs } = judgeNight(scene, told.incidents);
  const peakMb = process.resourceUsage().maxRSS / 1024;
  const patterns = told.patterns.map(({ sentence, p }) => `${sentence} p=${p}`);
  process.stdout.write(JSON.stringify({ seed, missed, invented, errorsMs, patterns, tellingMs, peakMb }));
}

function playAll() {
  const root = fileURLToPath(new URL("../../..", import.meta.url));
  // The simulation is TypeScript, for the tests' sake; node 20 reads none, so it is compiled first.
  execFileSync("npx", ["--no", "--", "tsc", "-p", "tests/simulation"], { cwd: root, stdio: "inherit" });
  const { hours, incidents } = options;
  const nights = Array.from({ length: Number(options.nights) }, (_, i) => {
    const own = ["--only", String(Number(options.seed) + i), "--hours", hours, "--incidents", incidents];
    const one = JSON.parse(
      execFileSync(process.execPath, [fileURLToPath(import.meta.url), ...own], { encoding: "utf8" }),
    );
    const errorMs = Math.round(Math.max(0, ...one.errorsMs));
    console.log(
      `seed ${one.seed}: ${one.missed.length} missed, ${one.invented.length} invented, times within ${errorMs} ms, ${one.patterns.length} patterns, told in ${Math.round(one.tellingMs)} ms, ${Math.round(one.peakMb)} MB`,
    );
    for (const { kind, fromS, listeners } of one.missed) console.log(`   missed: ${kind} at ${fromS} s, ${listeners}`);
    for (const { title, fromMs } of one.invented) console.log(`   invented: at ${fromMs / 1000} s, ${title}`);
    for (const sentence of one.patterns) console.log(`   pattern: ${sentence}`);
    return one;
  });
  const sum = (count) => nights.reduce((all, one) => all + count(one), 0);
  const errors = nights.flatMap(({ errorsMs }) => errorsMs).toSorted((a, b) => a - b);
  const result = {
    nights: nights.length,
    hours: Number(hours),
    known: nights.length * (Number(incidents) + 2),
    missed: sum(({ missed }) => missed.length),
    invented: sum(({ invented }) => invented.length),
    nightsWithPatterns: nights.filter(({ patterns }) => patterns.length > 0).length,
    errorMs: { median: percentile(errors, 0.5), p99: percentile(errors, 0.99), most: errors.at(-1) ?? 0 },
    tellingMs: Math.round(Math.max(...nights.map(({ tellingMs }) => tellingMs))),
    peakMb: Math.round(Math.max(...nights.map(({ peakMb }) => peakMb))),
  };
  console.log(JSON.stringify(result, null, 2));
  if (options.json !== undefined)
    writeFileSync(options.json, `${JSON.stringify({ ...result, each: nights }, null, 2)}\n`);
  if (result.missed + result.invented > 0 || result.peakMb >= MOST_MB) process.exitCode = 1;
}
