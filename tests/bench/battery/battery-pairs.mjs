/**
 * What `dyetrace upgrade-check` says on a real practice site at the shipped defaults: batteries of the same site, one held
 * against the one before, and batteries after each change that it has to find. No part of `npm test`: about five minutes for
 * each battery and site.
 *
 *   npm run build && node tests/bench/battery/battery-pairs.mjs --pairs 20 --changes 3 --record FILE.json.gz
 *
 * Sites stand side by side, half of the pairs on each, and one for the changes; the switches have the practice site's own
 * timers. After a change the scenarios that can show it are run again; the others of the battery are the unchanged ones.
 * Exit code 1 if a pair of the same site is not `same`, or a change is not `worse`.
 */
import { readFileSync, writeFileSync } from "node:fs";
import { loadavg } from "node:os";
import { setTimeout as sleep } from "node:timers/promises";
import { parseArgs } from "node:util";
import { gzipSync } from "node:zlib";
import { ControllerClient, raisePractice } from "@dyetrace/controller";
import { loadPracticeFaults } from "@dyetrace/practice";
import { loadSitePlan } from "@dyetrace/site";
import { batteryVerdict } from "../../../controller/dist/compare/battery-verdict.js";
import { compareBattery } from "../../../controller/dist/compare/compare-battery.js";
import { shippedScenarios } from "../../../controller/dist/plan/shipped-scenarios.js";
import { BATTERY, planBattery } from "../../../controller/dist/plan/upgrade-battery.js";
import { CHANGES } from "./changes.mjs";

const { values: options } = parseArgs({
  options: {
    pairs: { type: "string", default: "20" },
    changes: { type: "string", default: "3" },
    sites: { type: "string", default: "2" },
    only: { type: "string", default: BATTERY.join(",") },
    record: { type: "string" },
  },
});
const plan = readFileSync(new URL("../../../packages/practice/demo/quillfen.yaml", import.meta.url), "utf8");
const graph = loadSitePlan(plan, "plan.yaml");
const parts = options.only.split(",");
const planned = planBattery({ file: "plan.yaml", text: plan }, graph, shippedScenarios(), {
  source: "tower",
  members: [],
  parts,
  settings: {},
});
const record = { same: [], changed: [] };
const told = [];

const AGENTS = [...graph.nodes.values()].flatMap(({ agent }) => agent ?? []);

/** On a busy machine an agent may lose its controller for a moment between two runs. */
async function everyAgent({ registry }) {
  for (let tries = 0; AGENTS.some((name) => registry.find(name) === undefined); tries++) {
    if (tries > 1200) throw new Error("An agent has been away for a minute");
    await sleep(50);
  }
}

/** @returns reports by scenario, in the battery's order */
async function runParts({ practice, client }, wanted) {
  const reports = [];
  for (const { scenario, request } of planned.filter((part) => wanted.includes(part.scenario))) {
    reports.push({ scenario, report: await runOnce(practice, client, request) });
  }
  return reports;
}

async function runOnce(practice, client, request) {
  for (let tries = 1; ; tries++) {
    await everyAgent(practice.controller);
    for await (const progress of client.followRun(await client.startRun(request))) {
      if (progress.kind === "done") return progress.report;
      // What no run was made of is asked for again.
      if (progress.kind === "failed" && tries < 10) console.log(`again: ${progress.code}`);
      if (progress.kind === "failed" && tries >= 10) throw new Error(`${progress.code}: ${progress.message}`);
    }
  }
}

function hold(name, before, after, wanted) {
  const pairs = before.map(({ scenario, report }) => ({
    scenario,
    before: report,
    after: after.find((one) => one.scenario === scenario)?.report ?? report,
  }));
  const compared = compareBattery(pairs, graph);
  const { outcome, reason } = batteryVerdict(compared);
  told.push({ name, outcome, isWanted: outcome === wanted });
  console.log(`${new Date().toISOString()} ${name}: ${outcome}. ${reason}`);
  for (const { scenario, comparison } of compared) {
    if (comparison.outcome !== "same") console.log(`    ${scenario}: ${comparison.outcome}. ${comparison.reason}`);
  }
}

function keep() {
  if (options.record !== undefined) writeFileSync(options.record, gzipSync(JSON.stringify(record), { level: 9 }));
}

let raised = Promise.resolve();

/** One site after the other: ten agents start with each. */
function raise() {
  const mine = raised.then(raiseNow, raiseNow);
  raised = mine;
  return mine;
}

async function raiseNow() {
  const practice = await raisePractice({ graph, listen: { host: "127.0.0.1", port: 0 }, log: () => {} });
  return { practice, client: new ControllerClient(practice.controller.url) };
}

async function samePairs(name, pairs) {
  const site = await raise();
  const { practice } = site;
  try {
    const batteries = [];
    record.same.push(batteries);
    for (let turn = 0; turn <= pairs; turn++) {
      const after = await runParts(site, parts);
      const before = batteries.at(-1);
      batteries.push(after);
      keep();
      if (before !== undefined) hold(`${name}, pair ${turn}`, before, after, "same");
    }
  } finally {
    await practice[Symbol.asyncDispose]();
  }
}

async function changedSite(times) {
  const site = await raise();
  const { practice } = site;
  try {
    const before = await runParts(site, parts);
    for (const { name, scenarios, places } of CHANGES) {
      for (const { at, faults } of places.slice(0, times)) {
        const file = `faults:\n${faults.map((entry) => `  - { fault: ${entry} }`).join("\n")}\n`;
        const loaded = loadPracticeFaults(file, "faults.yaml", graph);
        await practice.site.inject(loaded);
        const after = await runParts(
          site,
          scenarios.filter((one) => parts.includes(one)),
        );
        await practice.site.lift(loaded);
        await practice.site.settled();
        record.changed.push({ name, at, before, after });
        keep();
        hold(`${name} at ${at}`, before, after, "worse");
      }
    }
  } finally {
    await practice[Symbol.asyncDispose]();
  }
}

console.log(
  `load ${loadavg()
    .map((one) => one.toFixed(1))
    .join(" ")}`,
);
const sites = Number(options.sites);
const pairs = Number(options.pairs);
const share = (index) => Math.floor(pairs / sites) + (index < pairs % sites ? 1 : 0);
const done = await Promise.allSettled([
  ...Array.from({ length: sites }, (_, index) =>
    share(index) > 0 ? samePairs(`site ${index + 1}`, share(index)) : null,
  ),
  Number(options.changes) > 0 ? changedSite(Number(options.changes)) : null,
]);
for (const one of done) if (one.status === "rejected") console.error(one.reason);
const bad = told.filter(({ isWanted }) => !isWanted);
console.log(
  `${told.length} batteries, ${bad.length} not as wanted; load ${loadavg()
    .map((one) => one.toFixed(1))
    .join(" ")}`,
);
process.exit(bad.length > 0 || done.some(({ status }) => status === "rejected") ? 1 : 0);
