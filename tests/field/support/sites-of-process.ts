import { readFileSync } from "node:fs";
import { findPracticeSites, type StandingSite } from "@dyetrace/practice";

/** Practice sites that a process has raised, itself or through its children. Other tests' sites stand on this machine too. */
export const sitesOfProcess = (pid: number): readonly StandingSite[] =>
  findPracticeSites().filter(({ hostPid }) => isBelow(hostPid, pid));

/** @returns 0 if the process has ended meanwhile */
export function parentOf(pid: number): number {
  try {
    return Number(/^PPid:\s*([0-9]+)/m.exec(readFileSync(`/proc/${pid}/status`, "utf8"))?.[1]);
  } catch {
    return 0;
  }
}

function isBelow(pid: number, ancestor: number): boolean {
  for (let at = parentOf(pid); at > 1; at = parentOf(at)) if (at === ancestor) return true;
  return false;
}
