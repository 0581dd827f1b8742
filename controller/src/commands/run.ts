import { checkScenarioAgainstSite, loadSitePlan, type SiteGraph } from "@dyetrace/site";
import { Fault, loadScenario, type RunRequest, type Scenario } from "@dyetrace/wire";
import type { Command } from "commander";
import { ControllerClient } from "./controller-client.ts";
import { DEFAULT_CONTROLLER_URL } from "./default-controller-url.ts";
import { EXIT } from "./exit-codes.ts";
import { deliverReport, followRun } from "./follow-run.ts";
import { readUserFile } from "./read-user-file.ts";
import { untilInterrupted } from "./until-interrupted.ts";

export const collect = (value: string, previous: readonly string[]): readonly string[] => [...previous, value];

export function registerRun(program: Command): void {
  program
    .command("run")
    .description("Run a scenario on the agents that are connected to a controller.")
    .argument("<scenario>", "scenario file (YAML)")
    .requiredOption("--site <plan>", "site plan (YAML)")
    .option("--set <name=value>", "replace one of the scenario's parameters; may be given again", collect, [])
    .option("--json <file>", "write the report as JSON; - for standard output")
    .option("--junit <file>", "write the report as test cases for a CI system")
    .option("--despite-traffic", "run although something is on the scenario's groups already")
    .option("--despite-advice", "run although a group is one that test traffic should keep clear of")
    .option("--controller <url>", "the controller to ask", DEFAULT_CONTROLLER_URL)
    .action(
      async (
        scenario: string,
        options: {
          site: string;
          set: string[];
          json?: string;
          junit?: string;
          despiteTraffic?: boolean;
          despiteAdvice?: boolean;
          controller: string;
        },
      ) => {
        const { request: asked, graph } = readRunFiles(options.site, scenario, options.set);
        const despite = [
          ...(options.despiteTraffic === true ? (["traffic"] as const) : []),
          ...(options.despiteAdvice === true ? (["advice"] as const) : []),
        ];
        const request = { ...asked, despite };
        using interrupt = untilInterrupted();
        const report = await followRun(new ControllerClient(options.controller), request, { signal: interrupt.signal });
        deliverReport(report, graph, options);
        process.exitCode = EXIT[report.verdict];
      },
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
  const scenarioBytes = readUserFile(scenarioFile);
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

export function parseSetting(text: string): [string, string] {
  const at = text.indexOf("=");
  if (at < 1) throw new Fault("OPTION_INVALID", `--set ${text} has no value`, "Write --set name=value");
  return [text.slice(0, at), text.slice(at + 1)];
}
