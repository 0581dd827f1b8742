import { didYouMean, Fault } from "@dyetrace/wire";
import type { Command } from "commander";
import { shippedScenarios } from "../plan/shipped-scenarios.ts";
import { paintFor } from "../report/terminal-paint.ts";
import { renderScenarios } from "./render-scenarios.ts";

export function registerScenarios(program: Command): void {
  program
    .command("scenarios")
    .description("The scenarios that ship with dyetrace, with the parameters that --set changes.")
    .option("--show <name>", "print the file, to copy and change it")
    .action((options: { show?: string }) => {
      const scenarios = shippedScenarios();
      const shown = options.show === undefined ? null : scenarios.find(({ name }) => name === options.show);
      if (shown === undefined) throw unknownScenario(options.show ?? "", scenarios);
      process.stdout.write(shown === null ? renderScenarios(scenarios, paintFor(process.stdout)) : shown.text.text);
    });
}

function unknownScenario(name: string, scenarios: ReturnType<typeof shippedScenarios>): Fault {
  const names = scenarios.map((scenario) => scenario.name);
  return new Fault(
    "OPTION_INVALID",
    `No scenario is called ${name}`,
    didYouMean(name, names, `There are ${names.join(", ")}`),
  );
}
