import { loadSitePlan, type SiteGraph } from "@dyetrace/site";
import {
  Fault,
  formatDurationNs,
  loadScenario,
  parseDurationNs,
  type RunReport,
  type RunRequest,
} from "@dyetrace/wire";
import type { Command } from "commander";
import { batteryVerdict } from "../compare/battery-verdict.ts";
import { compareBattery } from "../compare/compare-battery.ts";
import { shippedScenarios } from "../plan/shipped-scenarios.ts";
import { BATTERY, type BatteryPart, keptAs, partOf, planBattery, readParts } from "../plan/upgrade-battery.ts";
import { renderBatteryPage } from "../report/battery/html-battery.ts";
import { renderBattery } from "../report/battery/terminal-battery.ts";
import { junitOfBattery } from "../report/junit-comparison.ts";
import { paintFor } from "../report/terminal-paint.ts";
import type { RunRecord } from "../store/run-record.ts";
import { readUserFile } from "./arguments/read-user-file.ts";
import { untilInterrupted } from "./arguments/until-interrupted.ts";
import { writeUserFile } from "./arguments/write-user-file.ts";
import { type AskOptions, clientOf, withAskOptions } from "./client/ask-options.ts";
import { BATTERY_AT_MOST_NS, batteryUntilDecided, type DecidedBattery } from "./client/battery-until-decided.ts";
import { followRun } from "./client/follow-run.ts";
import { EXIT_OF_OUTCOME, refuseNoPair } from "./client/hold-against.ts";
import { reportOf } from "./client/report-of.ts";
import { openLibrary, type RunLibrary } from "./client/run-library.ts";
import { collect, parseSetting } from "./run.ts";

interface UpgradeCheckOptions extends AskOptions {
  readonly keep?: string;
  readonly against?: string;
  readonly source?: string;
  readonly members?: string;
  readonly only?: string;
  readonly set: readonly string[];
  readonly confirm?: string;
  readonly untilDecided?: true;
  readonly atMost?: number;
  readonly html?: string;
  readonly json?: string;
  readonly junit?: string;
}

interface PartToRun {
  readonly scenario: BatteryPart;
  readonly request: RunRequest;
}

/** `dyetrace upgrade-check`: the same battery before and after a change, and one verdict. */
export function registerUpgradeCheck(program: Command): void {
  withAskOptions(
    program
      .command("upgrade-check")
      .description(
        `Before a change of firmware or settings: run ${BATTERY.join(", ")} and keep them under a name. After it: run them again and say what got worse.`,
      )
      .argument("<plan>", "site plan (YAML)")
      .option("--keep <name>", "before the change: keep the runs under this name, for example core-fw-7")
      .option("--against <name>", "after the change: hold the runs against those kept under this name")
      .option("--source <agent>", "with --keep: the agent that sends")
      .option("--members <agents>", "with --keep: those that join, by commas (default: every second agent of the plan)")
      .option("--only <scenarios>", "with --keep: these alone, by commas; `ageing` takes longest")
      .option(
        "--set <name=value>",
        "with --keep: a parameter of every scenario that has it; may be given again",
        collect,
        [],
      )
      .option("--confirm <words>", "the words that a run which loads a link much asks for")
      .option("--until-decided", "with --against: run what is not decided again and again, until it is")
      .option("--at-most <time>", "how long --until-decided may go on (default: 30 min)", parseDurationNs)
      .option("--html <file>", "with --against: one page that prints well")
      .option("--json <file>", "with --against: everything, for programs; - for standard output")
      .option("--junit <file>", "with --against: test cases for a CI system, with names that stay"),
  ).action(async (plan: string, options: UpgradeCheckOptions) => {
    const { keep, against, untilDecided = false, atMost } = options;
    if (untilDecided && against === undefined) {
      throw new Fault(
        "OPTION_INVALID",
        "--until-decided needs an earlier battery to decide against",
        "Give --against NAME after the change",
      );
    }
    if (atMost !== undefined && !untilDecided) {
      throw new Fault(
        "OPTION_INVALID",
        "--at-most says how long --until-decided goes on, which is missing",
        "Give both",
      );
    }
    if (keep !== undefined && against === undefined) return keepBattery(plan, keep, options);
    if (against !== undefined && keep === undefined) return checkBattery(plan, against, options);
    throw new Fault(
      "OPTION_INVALID",
      "Say whether this is before the change or after it",
      "Give --keep NAME before it, and --against NAME after it",
    );
  });
}

async function keepBattery(plan: string, name: string, options: UpgradeCheckOptions): Promise<void> {
  if (!/^[A-Za-z0-9][A-Za-z0-9_-]{0,39}$/.test(name)) {
    throw new Fault(
      "OPTION_INVALID",
      `"${name}" can't be the name`,
      "Use up to 40 letters, digits, dashes and underscores",
    );
  }
  if (options.source === undefined)
    throw new Fault("OPTION_INVALID", "--source is missing", "Name the agent that sends");
  const bytes = readUserFile(plan);
  const site = { file: plan, text: bytes.toString("utf8") };
  const planned = planBattery(site, loadSitePlan(bytes, plan), shippedScenarios(), {
    source: options.source,
    members: options.members?.split(",").map((member) => member.trim()) ?? [],
    parts: options.only === undefined ? BATTERY : readParts(options.only),
    settings: Object.fromEntries(options.set.map(parseSetting)),
  });
  const totalNs = planned.reduce((sum, { durationNs }) => sum + durationNs, 0);
  process.stderr.write(`${planned.length} scenarios, about ${formatDurationNs(totalNs)} in all.\n`);
  await using library = await openLibrary(options);
  const reports = await runAll(planned, options);
  for (const { scenario, report } of reports) await library.nameBaseline(keptAs(name, scenario), report.run);
  await forgetOlder(library, name, new Set(reports.map(({ scenario }) => scenario)));
  const lines = reports.map(({ scenario, report }) => `  ${scenario}: ${report.verdict}. ${report.reason}\n`);
  process.stdout.write(
    `Kept under ${name}:\n${lines.join("")}After the change: dyetrace upgrade-check ${plan} --against ${name}\n`,
  );
}

/** A name stands for one battery: parts of an earlier one that this one has not lose it. */
async function forgetOlder(library: RunLibrary, name: string, kept: ReadonlySet<BatteryPart>): Promise<void> {
  for (const baseline of await library.baselines()) {
    const part = partOf(name, baseline.name);
    if (part !== null && !kept.has(part)) await library.removeBaseline(baseline.name);
  }
}

async function checkBattery(plan: string, name: string, options: UpgradeCheckOptions): Promise<void> {
  const bytes = readUserFile(plan);
  const site = { file: plan, text: bytes.toString("utf8") };
  const graph = loadSitePlan(bytes, plan);
  await using library = await openLibrary(options);
  const before = await keptRuns(library, name);
  const parts = before.map(({ scenario, record }) => {
    const { scenario: text, parameters = {} } = record.request;
    const request = { site, scenario: text, parameters };
    refuseNoPair(record, request);
    return { scenario, request, record };
  });
  const { compared, verdict } = await (options.untilDecided === true ? untilDecided : once)(parts, graph, options);
  const comparedAt = new Date().toISOString();
  const about = { site: graph.name, name, verdict, parts: compared, comparedAt };
  if (options.html !== undefined) writeUserFile(options.html, renderBatteryPage(about));
  if (options.junit !== undefined) writeUserFile(options.junit, junitOfBattery(graph.name, compared, comparedAt));
  if (options.json !== undefined) writeUserFile(options.json, `${JSON.stringify(about, null, 2)}\n`);
  if (options.json !== "-") process.stdout.write(renderBattery(verdict, compared, name, paintFor(process.stdout)));
  process.exitCode = EXIT_OF_OUTCOME[verdict.outcome];
}

interface PartToHold extends PartToRun {
  readonly record: RunRecord;
}
type Held = Pick<DecidedBattery, "compared" | "verdict">;

async function once(parts: readonly PartToHold[], graph: SiteGraph, options: UpgradeCheckOptions): Promise<Held> {
  const reports = await runAll(parts, options);
  const pairs = reports.flatMap(({ scenario, report: after }) =>
    parts
      .filter((part) => part.scenario === scenario)
      .map(({ record }) => ({ scenario, before: reportOf(record), after })),
  );
  const compared = compareBattery(pairs, graph);
  return { compared, verdict: batteryVerdict(compared) };
}

function untilDecided(parts: readonly PartToHold[], graph: SiteGraph, options: UpgradeCheckOptions): Promise<Held> {
  return batteryUntilDecided({
    parts: parts.map(({ scenario, request, record }) => ({
      scenario,
      before: reportOf(record),
      lastsNs: lengthOf(request),
    })),
    graph,
    atMostNs: options.atMost ?? BATTERY_AT_MOST_NS,
    runParts: (scenarios) =>
      runAll(
        parts.filter(({ scenario }) => scenarios.includes(scenario)),
        options,
      ),
    nowMs: () => performance.now(),
    say: (sentence) => process.stderr.write(`${sentence}\n`),
  });
}

function lengthOf({ scenario: { file, text }, parameters = {} }: RunRequest): number {
  return loadScenario(Buffer.from(text), file, { parameters }).scenario.durationNs;
}

/** @throws {Fault} BASELINE_UNKNOWN */
async function keptRuns(library: RunLibrary, name: string) {
  const kept = (await library.baselines()).flatMap((baseline) => {
    const scenario = partOf(name, baseline.name);
    return scenario === null ? [] : { scenario, runId: baseline.runId };
  });
  if (kept.length === 0) {
    throw new Fault(
      "BASELINE_UNKNOWN",
      `No battery was kept under ${name}`,
      `Before a change \`dyetrace upgrade-check PLAN --keep ${name} --source AGENT\` keeps one`,
    );
  }
  kept.sort((a, b) => BATTERY.indexOf(a.scenario) - BATTERY.indexOf(b.scenario));
  return Promise.all(kept.map(async ({ scenario, runId }) => ({ scenario, record: await library.get(runId) })));
}

/** One after another; the first that could not run ends it. @throws {Fault} */
async function runAll(
  parts: readonly PartToRun[],
  options: UpgradeCheckOptions,
): Promise<readonly { readonly scenario: BatteryPart; readonly report: RunReport }[]> {
  const client = clientOf(options);
  const { confirm } = options;
  using interrupt = untilInterrupted();
  const reports: { scenario: BatteryPart; report: RunReport }[] = [];
  for (const [index, { scenario, request }] of parts.entries()) {
    process.stderr.write(`${index + 1} of ${parts.length}: ${scenario}\n`);
    const confirmed = confirm === undefined ? request : { ...request, confirmation: confirm };
    const report = await followRun(client, confirmed, { signal: interrupt.signal });
    if (interrupt.signal.aborted) {
      throw new Fault("RUN_CANCELLED", `The battery was stopped in ${scenario}`, "Nothing was kept or compared");
    }
    reports.push({ scenario, report });
  }
  return reports;
}
