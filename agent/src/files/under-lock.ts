import { readFileSync, rmSync, writeFileSync } from "node:fs";

const LOOK_MS = 10;
/** What is done under a lock takes milliseconds. Whoever holds it longer is stuck, or another program has that process number now. */
const WITHIN_MS = 2000;

/**
 * Runs something that reads a file and writes it anew while no other program of this agent's does the same. The lock bears the
 * number of the process that holds it, so that one that was killed holds nothing. Waits without the event loop.
 * @throws {Error} the system's where there can be no lock, and whatever `work` throws
 */
export function underLock<T>(file: string, work: () => T): T {
  const lock = `${file}.lock`;
  const deadline = performance.now() + WITHIN_MS;
  while (!take(lock)) {
    if (!isHeld(lock) || performance.now() > deadline) rmSync(lock, { force: true });
    else Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, LOOK_MS);
  }
  try {
    return work();
  } finally {
    rmSync(lock, { force: true });
  }
}

function take(lock: string): boolean {
  try {
    writeFileSync(lock, String(process.pid), { flag: "wx", mode: 0o600 });
    return true;
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === "EEXIST") return false;
    rmSync(lock, { force: true }); // made, and there was no room for the number
    throw error;
  }
}

/** One without a number, which was killed before it wrote that, counts as held: its time will be over. */
function isHeld(lock: string): boolean {
  try {
    const holder = Number(readFileSync(lock, "utf8"));
    if (holder > 0) process.kill(holder, 0); // kill(2): signal 0 asks whether there is such a process
    return true;
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === "EPERM";
  }
}
