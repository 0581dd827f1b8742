import { readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { setTimeout as sleep } from "node:timers/promises";

/** Shared by all workers of one vitest, and by no other vitest on this machine. */
const LOCK = path.join(tmpdir(), `dyetrace-turn-${process.ppid}`);
const POLL_MS = 50;

/**
 * One at a time among all files that run side by side: a site whose agents start keeps every core busy for seconds. One such
 * site takes little from those that stand; six at once would leave them without news of their agents.
 */
export async function inTurn<T>(work: () => Promise<T>): Promise<T> {
  while (!take()) await sleep(POLL_MS);
  try {
    return await work();
  } finally {
    rmSync(LOCK, { force: true });
  }
}

function take(): boolean {
  try {
    writeFileSync(LOCK, String(process.pid), { flag: "wx" });
    return true;
  } catch {
    if (!isHeld()) rmSync(LOCK, { force: true });
    return false;
  }
}

/** A worker that was killed holds nothing any more. */
function isHeld(): boolean {
  try {
    const holder = readFileSync(LOCK, "utf8");
    if (holder !== "") process.kill(Number(holder), 0); // empty: it is being written
    return true;
  } catch {
    return false;
  }
}
