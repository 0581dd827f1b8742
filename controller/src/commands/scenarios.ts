import { didYouMean, Fault } from "@dyetrace/wire";
import type { Command } from "commander";
import { shippedScenarios } from "../plan/shipped-scenarios.ts";
import { paintFor } from "../report/terminal-paint.ts";
import { renderScenarios } from "./render-scenarios.ts";

export function registerScenarios(program: Command): void {
  const scenarios = program
    .command("scenarios")
    .description("The scenarios that ship with dyetrace, with the parameters that --set changes.")
    .option("--show <name>", "the same as `scenarios show`")
    .option("--json", "name, what it is for and parameters of each, as JSON")
    .action((options: { show?: string; json?: boolean }) => {
      const shipped = shippedScenarios();
      if (options.show !== undefined) show(options.show);
      else if (options.json === true)
        process.stdout.write(
          `${JSON.stringify(
            shipped.map(({ text: _, ...rest }) => rest),
            null,
            2,
          )}\n`,
        );
      else process.stdout.write(renderScenarios(shipped, paintFor(process.stdout)));
    });
  scenarios
    .command("show")
    .description("Print a scenario's file, to copy and change it.")
    .argument("<name>")
    .action(show);
}

function show(name: string): void {
  const shipped = shippedScenarios();
  const found = shipped.find((one) => one.name === name);
  if (found === undefined) throw unknownScenario(name, shipped);
  process.stdout.write(found.text.text);
}

function unknownScenario(name: string, scenarios: ReturnType<typeof shippedScenarios>): Fault {
  const names = scenarios.map((scenario) => scenario.name);
  return new Fault(
    "OPTION_INVALID",
    `No scenario is called ${name}`,
    didYouMean(name, names, `There are ${names.join(", ")}`),
  );
}
