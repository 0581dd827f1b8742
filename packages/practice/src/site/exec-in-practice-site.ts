import { type ChildProcess, spawn } from "node:child_process";
import { readFileSync } from "node:fs";
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
  // How the command ends is the answer. An interrupt key at a terminal reaches it by itself; a signal to this process alone would
  // not, so each is passed on inside.
  const passOn = (signal: NodeJS.Signals): void => signalInside(child, signal);
  for (const name of PASSED_ON) process.on(name, passOn);
  return new Promise<number>((resolve, reject) => {
    child.on("error", reject);
    child.on("close", (code, signal) => resolve(code ?? 128 + constants.signals[signal ?? "SIGKILL"]));
  }).finally(() => {
    for (const name of PASSED_ON) process.off(name, passOn);
  });
}

const PASSED_ON = ["SIGINT", "SIGTERM", "SIGHUP"] as const;

/** To the command itself, which `nsenter` waits for: that one would end by the signal and leave the command behind. */
function signalInside(nsenter: ChildProcess, signal: NodeJS.Signals): void {
  // The terminal sends its interrupt to every process in the foreground; a second one would cut short how the command ends.
  if (signal === "SIGINT" && process.stdin.isTTY) return;
  const commands = childrenOf(nsenter.pid);
  if (commands.length === 0) nsenter.kill(signal);
  for (const pid of commands) {
    try {
      process.kill(pid, signal);
    } catch {
      // it has ended meanwhile
    }
  }
}

/** As the kernel lists them (proc_pid_task(5)). */
function childrenOf(pid: number | undefined): readonly number[] {
  try {
    const list = readFileSync(`/proc/${pid}/task/${pid}/children`, "utf8");
    return list.split(" ").filter(Boolean).map(Number);
  } catch {
    return [];
  }
}
