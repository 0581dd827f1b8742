/** Hosts of a bench, each a namespace on one bridge, and the programs in them. */
import { spawn, spawnSync } from "node:child_process";
import { once } from "node:events";
import { setTimeout as sleep } from "node:timers/promises";

const children = new Set();

export function must(command, ...args) {
  const { status, stdout, stderr } = spawnSync(command, args, { encoding: "utf8" });
  if (status !== 0) throw new Error(`${command} ${args.join(" ")}: ${stderr}`);
  return stdout;
}

export function start(command, args, stdio = ["ignore", "ignore", "pipe"]) {
  const child = spawn(command, args, { stdio });
  children.add(child);
  child.once("exit", () => children.delete(child));
  return child;
}

export async function end(child, signal = "SIGTERM") {
  if (child.exitCode !== null || child.signalCode !== null) return;
  const ended = once(child, "exit");
  child.kill(signal);
  await ended;
}

/** A host on the bridge: a namespace that lives as long as the process that holds it. */
export async function raiseHost(name, address) {
  const holder = start("unshare", ["-n", "sleep", "infinity"], "ignore");
  await once(holder, "spawn");
  const own = must("readlink", "/proc/self/ns/net");
  while (must("readlink", `/proc/${holder.pid}/ns/net`) === own) await sleep(10);
  const inside = (...command) => must("nsenter", "-t", String(holder.pid), "-n", ...command);
  must("ip", "link", "add", name, "type", "veth", "peer", "name", "eth0", "netns", String(holder.pid));
  must("ip", "link", "set", name, "master", "br0", "up");
  inside("ip", "link", "set", "lo", "up");
  inside("ip", "address", "add", `${address}/24`, "dev", "eth0");
  inside("ip", "link", "set", "eth0", "up");
  return { name, pid: String(holder.pid) };
}

/** Whatever was started and still runs. */
export const endAll = () => Promise.all([...children].map((child) => end(child, "SIGKILL")));
