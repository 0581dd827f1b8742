/**
 * Every shipped scenario on every healthy practice site, with some members and with all, several times in a row: all of
 * them must pass. No part of `npm test`: real packets for hours.
 *
 *   npm run build && unshare -r -n true; node tests/bench/healthy/healthy-sites.mjs                # five times each
 *   node tests/bench/healthy/healthy-sites.mjs --short --times 2                                  # shorter steps, lower rates
 *   node tests/bench/healthy/healthy-sites.mjs --sites quillfen,ring --scenarios ageing,containment --times 5
 *
 * Two sites stand side by side. The switches' timers are shorter than the practice site's own (tests/field/support/quick-timers.ts
 * has the same), so that `ageing` outlasts a membership within seconds; nothing else about the sites differs from what users
 * get. Exit code 1 if a run does not pass. A run that this machine was too busy for is told apart: all that its report has
 * against it then is what the measuring hosts did themselves.
 */
import { writeFileSync } from "node:fs";
import { parseArgs } from "node:util";
import { FINDING_KINDS } from "@dyetrace/wire";
import { raiseHealthySite } from "./raise-healthy-site.mjs";
import { scenarioRuns } from "./scenario-runs.mjs";
import { HEALTHY_SITES } from "./sites.mjs";

const { values: options } = parseArgs({
  options: {
    times: { type: "string", default: "5" },
    sites: { type: "string", default: "" },
    scenarios: { type: "string", default: "" },
    short: { type: "boolean", default: false },
    json: { type: "string" },
  },
});
const SIDE_BY_SIDE = 2;
/** No run of a shipped scenario lasts longer, by far. */
const MOST_RUN_MS = 600_000;

const among = (list, name) => list === "" || list.split(",").includes(name);
const sites = HEALTHY_SITES.filter(({ name }) => among(options.sites, name));
const times = Number(options.times);
if (sites.length === 0 || !(times >= 1)) {
  console.error(`--sites takes ${HEALTHY_SITES.map(({ name }) => name).join(", ")}; --times a number`);
  process.exit(2);
}
const outcomes = [];
const waiting = [...sites];
await Promise.all(Array.from({ length: SIDE_BY_SIDE }, () => visitSites()));

async function visitSites() {
  for (let site = waiting.shift(); site !== undefined; site = waiting.shift()) {
    try {
      await visit(site);
    } catch (error) {
      outcomes.push({ site: site.name, scenario: "-", members: "-", verdict: "error", why: String(error) });
      console.log(`${site.name}: ${String(error)}`);
    }
  }
}

async function visit(site) {
  const runs = scenarioRuns(site, options.short).filter(({ scenario }) => among(options.scenarios, scenario));
  const words = [];
  console.log(`${site.name}: raising, then ${runs.length} runs, ${times} times`);
  const standing = await raiseHealthySite(site, (sentence) => words.push(sentence)).catch((cause) => {
    throw new Error(`did not come up: ${words.slice(-3).join(" | ")}`, { cause });
  });
  try {
    for (let time = 1; time <= times; time++) {
      for (const run of runs) {
        const outcome = await play(site, standing, run, time);
        outcomes.push(outcome);
        tell(outcome);
      }
    }
  } finally {
    await standing[Symbol.asyncDispose]();
  }
}

async function play(site, standing, { scenario, members, text, parameters }, time) {
  const at = { site: site.name, scenario, members, time };
  try {
    const report = await standing.run(text, parameters, AbortSignal.timeout(MOST_RUN_MS));
    return { ...at, verdict: report.verdict, why: whyNot(report), isBusy: isThisMachine(report), report };
  } catch (error) {
    return { ...at, verdict: "error", why: String(error), isBusy: false, report: null };
  }
}

function whyNot({ verdict, reason, findings, expectations, notes }) {
  if (verdict === "pass" && findings.length === 0) return remarksIn(notes);
  const titles = findings.map(({ kind, confidence, title }) => `${kind} ${confidence}: ${title}`);
  const unmet = expectations.filter(({ met }) => met !== true);
  const limits = unmet.map(({ what, measured, limit, detail }) => `${what} ${measured}, limit ${limit}. ${detail}`);
  return [reason, ...titles, ...limits, ...notes].join("\n      ");
}

function remarksIn(notes) {
  return notes.filter((note) => note.includes("no leak")).join(" ");
}

/** What stands against the run are the measuring hosts' own doings alone: they share this machine's processor. */
function isThisMachine({ findings, notes }) {
  const isOfHost = ({ kind }) => ["blames-host", "informs"].includes(FINDING_KINDS[kind].effect);
  const isSaidBusy = findings.length > 0 || notes.some((note) => note.includes("busy"));
  return isSaidBusy && findings.every(isOfHost);
}

function tell({ site, scenario, members, time, verdict, isBusy, why }) {
  const mark = verdict === "pass" ? "pass" : isBusy ? "BUSY" : "NOT PASSED";
  console.log(`${mark.padEnd(10)} ${site}, ${scenario}, ${members}, time ${time}${why === "" ? "" : `: ${why}`}`);
}

const rows = new Map();
for (const { site, scenario, members, verdict, isBusy } of outcomes) {
  const key = `${site}, ${scenario}, ${members}`;
  const row = rows.get(key) ?? { run: key, passed: 0, "not passed": 0, "machine busy": 0 };
  row[verdict === "pass" ? "passed" : isBusy ? "machine busy" : "not passed"] += 1;
  rows.set(key, row);
}
console.table([...rows.values()]);
if (options.json !== undefined) writeFileSync(options.json, JSON.stringify(outcomes));
const failed = outcomes.filter(({ verdict }) => verdict !== "pass");
console.log(`${outcomes.length} runs, ${failed.length} not passed`);
if (failed.length > 0 || outcomes.length === 0) process.exitCode = 1;
