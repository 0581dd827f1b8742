import { writeFileSync } from "node:fs";
import { checkScenarioAgainstSite, loadSitePlan, type SiteGraph } from "@dyetrace/site";
import { loadScenario, type Scenario } from "@dyetrace/wire";
import type { Command } from "commander";
import { checkPlan } from "../plan/check-plan.ts";
import { paintFor } from "../report/terminal-paint.ts";
import { renderPlanCheck } from "../report/terminal-plan.ts";
import { readUserFile } from "./arguments/read-user-file.ts";
import { registerPlanAirtime } from "./plan-airtime.ts";

export function registerPlan(program: Command): void {
  const plan = program.command("plan").description("Look at a site plan before anything is sent.");
  registerPlanAirtime(plan);
  plan
    .command("check")
    .description("Mistakes in the plan, advice on groups, and which segments the agents can tell apart.")
    .argument("<plan>", "site plan (YAML)")
    .option("--scenario <file>", "a scenario to hold against it")
    .option("--json <file>", "write the result as JSON; - for standard output")
    .action((planFile: string, options: { scenario?: string; json?: string }) => {
      const graph = loadSitePlan(readUserFile(planFile), planFile);
      const scenario = options.scenario === undefined ? null : readScenario(options.scenario, graph);
      const check = checkPlan(graph, scenario);
      const json = `${JSON.stringify(check, null, 2)}\n`;
      if (options.json !== undefined && options.json !== "-") writeFileSync(options.json, json);
      if (options.json === "-") process.stdout.write(json);
      else process.stdout.write(renderPlanCheck(check, graph, paintFor(process.stdout)));
    });
}

function readScenario(file: string, graph: SiteGraph): Scenario {
  const loaded = loadScenario(readUserFile(file), file);
  checkScenarioAgainstSite(loaded, graph);
  return loaded.scenario;
}
