import { spawn } from "node:child_process";
import { constants } from "node:os";
import { Fault } from "@dyetrace/wire";
import { requireTool, toolPath } from "../host/require-tool.ts";
import { inside } from "../host/step.ts";
import type { StandingSite } from "./find-practice-sites.ts";

/**
 * Runs a command inside a node of a site that another process raised, on this process's terminal.
 * @returns its exit code; 128 and the signal's number where a signal ended it, as shells have it
 * @throws {Fault} NEEDS_TOOL, NODE_UNKNOWN
 */
export async function execInPracticeSite(site: StandingSite, node: string, argv: readonly string[]): Promise<number> {
  requireTool("nsenter");
  const enter = enterArguments(site);
  if ((await outcome(enter, ["test", "-e", `/run/netns/${node}`], "ignore")) !== 0) {
    throw new Fault(
      "NODE_UNKNOWN",
      `The practice site "${site.name}" has no node "${node}"`,
      "Names are as in its site plan",
    );
  }
  // Entering a mount namespace leads to its root folder.
  const fromHere = ["sh", "-c", 'cd -- "$0" 2>/dev/null; exec "$@"', process.cwd(), ...argv];
  return outcome(enter, inside(node, fromHere), "inherit");
}

function enterArguments({ hostPid }: StandingSite): readonly string[] {
  const asPlainUser = process.getuid?.() === 0 ? [] : ["--user", "--preserve-credentials"];
  return ["--target", String(hostPid), ...asPlainUser, "--mount", "--net", "--pid", "--"];
}

function outcome(enter: readonly string[], argv: readonly string[], stdio: "ignore" | "inherit"): Promise<number> {
  const child = spawn("nsenter", [...enter, ...argv], { stdio, env: { ...process.env, PATH: toolPath() } });
  // An interrupt key reaches the command as well; how that ends is the answer.
  const leaveToChild = (): void => {};
  process.on("SIGINT", leaveToChild);
  return new Promise<number>((resolve, reject) => {
    child.on("error", reject);
    child.on("close", (code, signal) => resolve(code ?? 128 + constants.signals[signal ?? "SIGKILL"]));
  }).finally(() => process.off("SIGINT", leaveToChild));
}
