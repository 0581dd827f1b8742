import { existsSync } from "node:fs";
import { checkScenarioAgainstSite, loadSitePlan, type SiteGraph } from "@dyetrace/site";
import { Fault, loadScenario, parseDurationNs, type RunRequest, type Scenario } from "@dyetrace/wire";
import type { Command } from "commander";
import { LONG_RUN_NS } from "../account/run-evidence.ts";
import { undecidableLimits } from "../plan/limit-outlook.ts";
import { shippedScenarios } from "../plan/shipped-scenarios.ts";
import { renderComparison } from "../report/terminal-comparison.ts";
import { paintFor } from "../report/terminal-paint.ts";
import { EXIT } from "./arguments/exit-codes.ts";
import { readUserFile } from "./arguments/read-user-file.ts";
import { nextTimeOfDay } from "./arguments/time-of-day.ts";
import { untilInterrupted } from "./arguments/until-interrupted.ts";
import { type AskOptions, clientOf, withAskOptions } from "./client/ask-options.ts";
import type { ControllerClient } from "./client/controller-client.ts";
import { deliverReport, followRun } from "./client/follow-run.ts";
import { EXIT_OF_OUTCOME, earlierRun, holdAgainst, refuseNoPair } from "./client/hold-against.ts";
import { reportOf } from "./client/report-of.ts";
import { openLibrary } from "./client/run-library.ts";
import { AT_MOST_NS, runUntilDecided } from "./client/until-decided.ts";
import { sayHowToProbe } from "./probe.ts";

export const collect = (value: string, previous: readonly string[]): readonly string[] => [...previous, value];

export function registerRun(program: Command): void {
  withAskOptions(
    program
      .command("run")
      .description("Run a scenario on the agents that are connected to a controller.")
      .argument("<scenario>", "scenario file (YAML)")
      .requiredOption("--site <plan>", "site plan (YAML)")
      .option("--set <name=value>", "replace one of the scenario's parameters; may be given again", collect, [])
      .option("--json <file>", "write the report as JSON; - for standard output")
      .option("--junit <file>", "write the report as test cases for a CI system")
      .option(
        "--against <run>",
        "hold it against an earlier run, or baseline:NAME, and end with that outcome's exit code",
      )
      .option(
        "--until-decided",
        "with --against: run again until all runs together say worse, better, or no more loss than before",
      )
      .option("--at-most <time>", "how long --until-decided may go on (default: 10 min)", parseDurationNs)
      .option("--at <time>", "start at this time of day, for example 22:00, and return at once")
      .option("--within <time>", "how long after --at it may begin at the latest (default: 15 min)", parseDurationNs)
      .option("--until <time>", "end at this time of day: sets the scenario's parameter `length`")
      .option(
        "--keep-headers",
        "agents keep headers of its packets, for `dyetrace evidence`; of payload only test packets' own head",
      )
      .option(
        "--bursts",
        "where other traffic hides the run from switches' counters, let a burst of test packets follow, at the streams' own rates at most",
      )
      .option("--despite-traffic", "run although something is on the scenario's groups already")
      .option("--despite-advice", "run although a group is one that test traffic should keep clear of")
      .option("--confirm <words>", "the words that a run which loads a link much asks for"),
  ).action(
    async (
      scenario: string,
      options: {
        site: string;
        set: string[];
        json?: string;
        junit?: string;
        at?: string;
        within?: number;
        until?: string;
        keepHeaders?: boolean;
        bursts?: boolean;
        despiteTraffic?: boolean;
        despiteAdvice?: boolean;
        confirm?: string;
        against?: string;
        untilDecided?: boolean;
        atMost?: number;
      } & AskOptions,
    ) => {
      refuseUndecidable(options);
      const times = readTimes(options, Date.now());
      const {
        request: asked,
        graph,
        scenario: loaded,
      } = readRunFiles(options.site, scenario, [...options.set, ...times.settings]);
      tellUndecidable(loaded, graph);
      const despite = [
        ...(options.despiteTraffic === true ? (["traffic"] as const) : []),
        ...(options.despiteAdvice === true ? (["advice"] as const) : []),
      ];
      const confirmation = options.confirm === undefined ? {} : { confirmation: options.confirm };
      const request = {
        ...asked,
        despite,
        ...confirmation,
        ...(options.keepHeaders === true ? { keepsHeaders: true } : {}),
        ...(options.bursts === true ? { bursts: true } : {}),
        ...(times.startAt === null ? {} : { startAt: times.startAt }),
        ...(options.within === undefined ? {} : { startWithinMs: Math.round(options.within / 1e6) }),
      };
      const client = clientOf(options);
      await using library = await openLibrary(options);
      const before = options.against === undefined ? null : await earlierRun(library, options.against);
      if (before !== null) refuseNoPair(before, request);
      const isLong = times.startAt !== null || times.settings.length > 0 || loaded.durationNs > LONG_RUN_NS;
      if (isLong) await tellNeed(client, request);
      if (times.startAt !== null) {
        const runId = await client.startRun(request);
        process.stdout.write(
          `Run ${runId} starts at ${sayInstant(times.startAt)}. \`dyetrace report ${runId} --summary\` tells how it goes.\n`,
        );
        return;
      }
      using interrupt = untilInterrupted();
      if (before !== null && options.untilDecided === true) {
        const { comparison, reports } = await runUntilDecided({
          before: reportOf(before),
          graph,
          lastsNs: loaded.durationNs,
          atMostNs: options.atMost ?? AT_MOST_NS,
          runOnce: () => followRun(client, request, { signal: interrupt.signal }),
          isStopped: () => interrupt.signal.aborted,
          nowMs: () => performance.now(),
          say: (sentence) => process.stderr.write(`${sentence}\n`),
        });
        for (const report of reports.slice(-1)) deliverReport(report, graph, options);
        if (options.json !== "-") process.stdout.write(renderComparison(comparison, paintFor(process.stdout)));
        process.exitCode = EXIT_OF_OUTCOME[comparison.outcome];
        return;
      }
      const report = await followRun(client, request, { signal: interrupt.signal });
      deliverReport(report, graph, options);
      if (options.json !== "-")
        process.stdout.write(
          sayHowToProbe(report, `\`dyetrace probe ${report.run}\` takes the measurement that tells them apart best.`),
        );
      process.exitCode = EXIT[report.verdict];
      if (before === null) return;
      const comparison = holdAgainst(await library.get(report.run), before, false);
      if (options.json !== "-") process.stdout.write(renderComparison(comparison, paintFor(process.stdout)));
      process.exitCode = EXIT_OF_OUTCOME[comparison.outcome];
    },
  );
}

/** With the zone, in which clocks may be put forward or back until then. */
const sayInstant = (instant: string): string =>
  `${new Date(instant).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "long" })} (${instant.slice(0, 16)}Z)`;

/** @throws {Fault} OPTION_INVALID */
function refuseUndecidable(options: { untilDecided?: boolean; atMost?: number; against?: string; at?: string }): void {
  const { untilDecided = false, atMost, against, at } = options;
  if (atMost !== undefined && !untilDecided) {
    throw new Fault("OPTION_INVALID", "--at-most says how long --until-decided goes on, which is missing", "Give both");
  }
  if (untilDecided && (against === undefined || at !== undefined)) {
    throw new Fault(
      "OPTION_INVALID",
      "--until-decided runs at once, again and again, and needs an earlier run to decide against",
      "Give --against RUN or --against baseline:NAME, and no --at",
    );
  }
}

/** @returns when to start, ISO 8601, null at once; and the setting that makes the run end in time */
function readTimes(
  { at, within, until }: { readonly at?: string; readonly within?: number; readonly until?: string },
  nowMs: number,
): { readonly startAt: string | null; readonly settings: readonly string[] } {
  const startMs = at === undefined ? null : nextTimeOfDay(at, nowMs, "--at");
  if (within !== undefined && startMs === null) {
    throw new Fault(
      "OPTION_INVALID",
      "--within says how late a run may begin, and --at is missing",
      "Give --at as well",
    );
  }
  const settings: string[] = [];
  if (until !== undefined) {
    const endMs = nextTimeOfDay(until, startMs ?? nowMs, "--until");
    settings.push(`length=${Math.max(1, Math.round((endMs - (startMs ?? nowMs)) / 1000))}s`);
  }
  return { startAt: startMs === null ? null : new Date(startMs).toISOString(), settings };
}

/** Before a night begins: what it will take on disk. */
async function tellNeed(client: ControllerClient, request: RunRequest): Promise<void> {
  const need = await client.ask("askRunNeed", { body: request });
  const mb = (bytes: number): string => `${Math.max(1, Math.round(bytes / 1e6))} MB`;
  process.stderr.write(
    `This takes about ${mb(need.controllerBytes)} on the controller's disk, and up to ${mb(need.agentBytes)} on an agent's if the controller were away all the time.\n`,
  );
}

export interface RunFiles {
  readonly request: RunRequest;
  readonly graph: SiteGraph;
  readonly scenario: Scenario;
}

/**
 * Reads and checks everything that can be wrong in the two files, before a controller is asked.
 * @throws {Fault} FILE_UNREADABLE, OPTION_INVALID, SITE_PLAN_INVALID, SCENARIO_INVALID
 */
export function readRunFiles(siteFile: string, scenarioFile: string, settings: readonly string[]): RunFiles {
  const parameters = Object.fromEntries(settings.map(parseSetting));
  const siteBytes = readUserFile(siteFile);
  const scenarioBytes = readScenarioFile(scenarioFile);
  const graph = loadSitePlan(siteBytes, siteFile);
  const loaded = loadScenario(scenarioBytes, scenarioFile, { parameters });
  checkScenarioAgainstSite(loaded, graph);
  const request = {
    site: { file: siteFile, text: siteBytes.toString("utf8") },
    scenario: { file: scenarioFile, text: scenarioBytes.toString("utf8") },
    parameters,
  };
  return { request, graph, scenario: loaded.scenario };
}

/** Before anything is sent: the expectations that so few packets cannot decide. */
export function tellUndecidable(scenario: Scenario, graph: SiteGraph): void {
  for (const { sentence } of undecidableLimits(scenario, graph)) process.stderr.write(`${sentence}.\n`);
}

/** A file, or else a scenario that ships with the program, by its name. */
function readScenarioFile(scenario: string): Buffer {
  const shipped = existsSync(scenario) ? undefined : shippedScenarios().find(({ name }) => name === scenario);
  if (shipped !== undefined) return Buffer.from(shipped.text.text);
  if (existsSync(scenario) || /[/.]/.test(scenario)) return readUserFile(scenario);
  throw new Fault(
    "FILE_UNREADABLE",
    `There is neither a file ${scenario} nor a scenario of that name that ships with this program`,
    "`dyetrace scenarios` lists those that do",
  );
}

export function parseSetting(text: string): [string, string] {
  const at = text.indexOf("=");
  if (at < 1) throw new Fault("OPTION_INVALID", `--set ${text} has no value`, "Write --set name=value");
  return [text.slice(0, at), text.slice(at + 1)];
}
