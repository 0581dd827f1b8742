/** What the kernel says of a process: proc(5). Memory in kB, times in ns. */
import { readdirSync, readFileSync } from "node:fs";
import path from "node:path";

const tasksOf = (pid) => readdirSync(`/proc/${pid}/task`);

/** @returns {Record<string, number>} of smaps_rollup, such as `Rss` and `Pss`, kB */
export function memoryOf(pid) {
  const text = readFileSync(`/proc/${pid}/smaps_rollup`, "utf8");
  return Object.fromEntries([...text.matchAll(/^(\w+): +(\d+) kB$/gm)].map(([, name, kB]) => [name, Number(kB)]));
}

/** Time that all of its threads were on a processor since it was started, ns. A thread that ended is missing from the sum. */
export const processorNs = (pid) =>
  tasksOf(pid).reduce((sum, task) => sum + Number(readThread(pid, task, "schedstat").split(" ")[0] || 0), 0);

/** How often its threads went to sleep of themselves, by thread. @returns {Record<string, number>} */
export const sleepsOf = (pid) =>
  Object.fromEntries(
    tasksOf(pid).map((task) => {
      const status = readThread(pid, task, "status");
      return [
        `${task} ${/^Name:\s*(.*)$/m.exec(status)?.[1]}`,
        Number(/^voluntary_ctxt_switches:\s*(\d+)/m.exec(status)?.[1] ?? 0),
      ];
    }),
  );

/** What is in memory, by kind of mapping, kB: what Node.js's file has there, what other files have, what belongs to nobody's file. */
export function mappingsOf(pid) {
  const text = readFileSync(`/proc/${pid}/smaps`, "utf8");
  const sums = {};
  for (const part of text.split(/^(?=[0-9a-f]+-[0-9a-f]+ )/m)) {
    const [first = ""] = part.split("\n");
    const [, flags = "", , , , name = ""] = /^\S+ (\S+) (\S+) (\S+) (\S+) *(.*)$/.exec(first) ?? [];
    const kind = kindOf(name, flags);
    const { rssKB, pssKB } = sums[kind] ?? { rssKB: 0, pssKB: 0 };
    sums[kind] = {
      rssKB: rssKB + Number(/^Rss: +(\d+)/m.exec(part)?.[1] ?? 0),
      pssKB: pssKB + Number(/^Pss: +(\d+)/m.exec(part)?.[1] ?? 0),
    };
  }
  return sums;
}

function kindOf(name, flags) {
  if (name.startsWith("/")) {
    const file = path.basename(name);
    return /^node/.test(file)
      ? `Node.js's own file, ${flags.includes("w") ? "data" : "code and constants"}`
      : "libraries";
  }
  if (name === "[heap]") return "C heap";
  if (name.startsWith("[stack")) return "stacks";
  if (name.startsWith("[anon: ")) return name.slice(7, -1);
  if (name.startsWith("[")) return "kernel's";
  return "no file's (V8's heaps, its code, C heaps of threads, thread stacks)";
}

function readThread(pid, task, file) {
  try {
    return readFileSync(`/proc/${pid}/task/${task}/${file}`, "utf8");
  } catch {
    return ""; // it ended meanwhile
  }
}
