import { writeFileSync } from "node:fs";
import { checkAgainstSite, loadSitePlan } from "@dyetrace/site";
import type { Command } from "commander";
import { checkPlan } from "../plan/check-plan.ts";
import { paintFor } from "../report/terminal-paint.ts";
import { renderPlanCheck } from "../report/terminal-plan.ts";
import { readUserFile } from "./arguments/read-user-file.ts";
import { type AskOptions, clientOf, withAskOptions } from "./client/ask-options.ts";
import { observeSite } from "./drawing/observe-site.ts";
import { registerDraw } from "./drawing/register-draw.ts";
import { renderSiteCheck } from "./drawing/render-site-check.ts";
import { readScenario, registerPlanAirtime } from "./plan-airtime.ts";
import { collect } from "./run.ts";

interface Options extends AskOptions {
  readonly scenario?: string;
  readonly set: readonly string[];
  readonly json?: string;
  readonly againstSite?: true;
}

/** Where the site is not as the plan has it. */
const DIFFERS = 1;

export function registerPlan(program: Command): void {
  const plan = program.command("plan").description("Look at a site plan before anything is sent.");
  registerPlanAirtime(plan);
  registerDraw(plan);
  withAskOptions(
    plan
      .command("check")
      .description("Mistakes in the plan, advice on groups, and which segments the agents can tell apart.")
      .argument("<plan>", "site plan (YAML)")
      .option("--scenario <file>", "a scenario to hold against it")
      .option("--set <name=value>", "replace one of the scenario's parameters; may be given again", collect, [])
      .option(
        "--against-site",
        "hold the plan against what agents hear and switches say; exit code 1 where they differ. Nothing is sent",
      )
      .option("--json <file>", "write the result as JSON; - for standard output"),
  ).action(async (planFile: string, options: Options) => {
    const graph = loadSitePlan(readUserFile(planFile), planFile);
    const scenario = options.scenario === undefined ? null : readScenario(options.scenario, options.set, graph);
    const say = (sentence: string): void => void process.stderr.write(`${sentence}\n`);
    const site =
      options.againstSite === true
        ? checkAgainstSite(graph, await observeSite(clientOf(options), false, say))
        : undefined;
    const check = { ...checkPlan(graph, scenario), ...(site === undefined ? {} : { againstSite: site }) };
    const json = `${JSON.stringify(check, null, 2)}\n`;
    if (options.json !== undefined && options.json !== "-") writeFileSync(options.json, json);
    const paint = paintFor(process.stdout);
    if (options.json === "-") process.stdout.write(json);
    else {
      process.stdout.write(renderPlanCheck(check, graph, paint));
      if (site !== undefined) process.stdout.write(renderSiteCheck(site, paint));
    }
    if (site !== undefined && site.contradictions.length > 0) process.exitCode = DIFFERS;
  });
}
