import { Fault } from "@dyetrace/wire";
import type { PracticeHost } from "./practice-host.ts";
import { isTool, requireTool } from "./require-tool.ts";
import type { Step } from "./step.ts";

/** Runs steps one after the other. @throws {Fault} PRACTICE_FAILED with the command and what it said, NEEDS_TOOL */
export async function runSteps(host: PracticeHost, steps: readonly Step[]): Promise<void> {
  for (const step of steps) await runStep(host, step);
}

/** Runs steps side by side, a few at a time. @throws {Fault} as `runSteps`, for the first that fails */
export async function runStepsTogether(host: PracticeHost, steps: readonly Step[]): Promise<void> {
  const queue = steps.values();
  const worker = async (): Promise<void> => {
    for (const step of queue) await runStep(host, step);
  };
  await Promise.all(Array.from({ length: STEPS_TOGETHER }, worker));
}

const STEPS_TOGETHER = 4;

async function runStep(host: PracticeHost, { argv, stdin = "" }: Step): Promise<void> {
  const program = argv[0] === "ip" && argv[1] === "netns" && argv[2] === "exec" ? argv[4] : argv[0];
  if (program !== undefined && isTool(program)) requireTool(program);
  const { code, stderr } = await host.run(argv, stdin);
  if (code === 0) return;
  // `ip -batch` names the line: "Command failed -:12".
  const line = /Command failed -:([0-9]+)/.exec(stderr)?.[1];
  const input = line === undefined ? "" : `, line ${line}: ${stdin.split("\n")[Number(line) - 1] ?? ""}`;
  throw new Fault(
    "PRACTICE_FAILED",
    `A command of the practice site failed, \`${argv.join(" ")}\`${input}: ${stderr.trim() || `exit code ${code}`}`,
    "The kernel or its tools may lack what this needs; the message of the failed command says what",
  );
}
