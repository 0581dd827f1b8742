import type { ConsoleScenario } from "@dyetrace/wire/console/console-scenario";
import type { Paint } from "../report/terminal-paint.ts";

/** Scenarios with their parameters; those without a value must be set. */
export function renderScenarios(scenarios: readonly ConsoleScenario[], paint: Paint): string {
  return scenarios
    .flatMap(({ name, about, parameters }) => {
      const width = Math.max(0, ...parameters.map((one) => one.name.length));
      return [
        `${paint(name, "strong")}  ${about}`,
        ...parameters.map(({ name: parameter, value, note }) => {
          const given = value ?? paint("must be set", "doubt");
          return `    ${parameter.padEnd(width)}  ${given}${note === "" ? "" : paint(`  ${note}`, "quiet")}`;
        }),
        "",
      ];
    })
    .concat("Run one by its name: dyetrace run NAME --site PLAN --set name=value", "")
    .join("\n");
}
