import { writeFileSync } from "node:fs";
import { loadSitePlan } from "@dyetrace/site";
import type { Command } from "commander";
import { checkPlan } from "../plan/check-plan.ts";
import { paintFor } from "../report/terminal-paint.ts";
import { renderPlanCheck } from "../report/terminal-plan.ts";
import { readUserFile } from "./arguments/read-user-file.ts";
import { readScenario, registerPlanAirtime } from "./plan-airtime.ts";
import { collect } from "./run.ts";

interface Options {
  readonly scenario?: string;
  readonly set: readonly string[];
  readonly json?: string;
}

export function registerPlan(program: Command): void {
  const plan = program.command("plan").description("Look at a site plan before anything is sent.");
  registerPlanAirtime(plan);
  plan
    .command("check")
    .description("Mistakes in the plan, advice on groups, and which segments the agents can tell apart.")
    .argument("<plan>", "site plan (YAML)")
    .option("--scenario <file>", "a scenario to hold against it")
    .option("--set <name=value>", "replace one of the scenario's parameters; may be given again", collect, [])
    .option("--json <file>", "write the result as JSON; - for standard output")
    .action((planFile: string, options: Options) => {
      const graph = loadSitePlan(readUserFile(planFile), planFile);
      const scenario = options.scenario === undefined ? null : readScenario(options.scenario, options.set, graph);
      const check = checkPlan(graph, scenario);
      const json = `${JSON.stringify(check, null, 2)}\n`;
      if (options.json !== undefined && options.json !== "-") writeFileSync(options.json, json);
      if (options.json === "-") process.stdout.write(json);
      else process.stdout.write(renderPlanCheck(check, graph, paintFor(process.stdout)));
    });
}
