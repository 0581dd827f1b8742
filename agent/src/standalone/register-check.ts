import type { Command } from "commander";
import { chooseInterface } from "../config/choose-interface.ts";
import { readAgentConfig } from "../config/read-agent-config.ts";
import { readInterface } from "../data-plane/interface-facts.ts";
import type { CheckResult, CheckStatus } from "./check/check-result.ts";
import { checkClock } from "./check/clock-check.ts";
import { checkFirewall } from "./check/firewall-check.ts";
import { checkInterface } from "./check/interface-checks.ts";
import { checkKernel } from "./check/kernel-checks.ts";
import { checkRights } from "./check/rights-check.ts";

interface CheckOptions {
  readonly interface?: string;
  readonly config?: string;
  readonly json: boolean;
}

const MARKS: Readonly<Record<CheckStatus, string>> = {
  good: "  good     ",
  know: "  know     ",
  spoils: "! spoils   ",
  unknown: "? unknown  ",
};

/** `dyetrace-agent check`: what this host can do, and what would spoil a test. Exit code 1 if something would. */
export function registerCheck(program: Command): void {
  program
    .command("check")
    .description("Say what this host can do and what would spoil a test, with the command that mends it.")
    .option("--interface <name>", "the interface to the tested network (default: the only one there is)")
    .option("--config <file>", "this host's own limits (default: /etc/dyetrace/agent.yaml)")
    .option("--json", "the same as JSON", false)
    .action((options: CheckOptions) => {
      const results = checkHost(options.interface ?? chooseInterface(), options.config);
      if (options.json) process.stdout.write(`${JSON.stringify({ checks: results })}\n`);
      else for (const result of results) process.stdout.write(`${describe(result)}\n`);
      if (results.some(({ status }) => status === "spoils")) process.exitCode = 1;
    });
}

function checkHost(interfaceName: string, configFile: string | undefined): readonly CheckResult[] {
  return [
    ...checkInterface(readInterface(interfaceName)),
    ...checkKernel(interfaceName),
    checkFirewall(),
    ...checkClock(),
    ...checkRights(readAgentConfig(configFile).guards),
  ];
}

function describe({ name, status, finding, mend }: CheckResult): string {
  return `${MARKS[status]}${name}: ${finding}${mend === null ? "" : `\n             ${mend}`}`;
}
