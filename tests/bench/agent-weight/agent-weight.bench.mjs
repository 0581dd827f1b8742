/**
 * What an agent weighs: its files, its start until it is connected, its memory and its wake-ups while idle, and its memory while
 * 8 Mbit/s are sent by one and received by another. A bare Node.js, measured in the same run, is the floor.
 *
 *   npm run build && node tests/bench/agent-weight/agent-weight.bench.mjs
 *   ... --program before=/somewhere/bin/dyetrace-agent.mjs      # one column more; again for further ones
 *   ... --node FILE                                             # under another Node.js; again for further ones
 *   ... --starts 10 --idle 60 --run 60 --json FILE              # how often, and how long, s
 *   ... --mappings                                              # what the memory is, by kind of mapping
 *
 * Needs iproute2 and either root or user namespaces. Start times are of this machine as it is: quiet, please.
 */
import { spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { createInterface } from "node:readline";
import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import { parseArgs } from "node:util";
import { end, endAll, must, raiseHost, start } from "./bench-hosts.mjs";
import { mappingsOf, memoryOf, processorNs, sleepsOf } from "./process-figures.mjs";
import { ScriptedController } from "./scripted-controller.mjs";

const { values: options } = parseArgs({
  options: {
    program: { type: "string", multiple: true, default: [] },
    node: { type: "string", multiple: true, default: [process.execPath] },
    starts: { type: "string", default: "5" },
    idle: { type: "string", default: "10" },
    run: { type: "string", default: "20" },
    mappings: { type: "boolean", default: false },
    json: { type: "string" },
  },
});

if (process.env.DYETRACE_BENCH_INSIDE !== "1") {
  // A mount and a network namespace of its own hold everything that follows; a plain user becomes root in there.
  const flags = process.getuid() === 0 ? ["-nm"] : ["-Urnm"];
  const child = spawn("unshare", [...flags, process.execPath, ...process.argv.slice(1)], {
    stdio: "inherit",
    env: { ...process.env, DYETRACE_BENCH_INSIDE: "1" },
  });
  const [code] = await once(child, "exit");
  process.exit(code ?? 1);
}

const GROUP = "239.195.77.1";
const ROUTER = "192.0.2.254";
const PAYLOAD_BYTES = 1316;
const RATE_BPS = 8e6;
const OWN = fileURLToPath(new URL("../../../agent/dist/bundle/bin/dyetrace-agent.mjs", import.meta.url));
const programs = [
  ...options.program.map((one) => /^([^=]+)=(.+)$/.exec(one)?.slice(1) ?? [path.basename(one), one]),
  ["agent", OWN],
];
const scratch = mkdtempSync(path.join(tmpdir(), "dyetrace-bench-"));
const controller = new ScriptedController();

/** Until it is connected. @returns {Promise<{ child: object, wallMs: number, processorMs: number }>} */
async function startAgent(node, program, host) {
  const config = path.join(scratch, "agent.yaml");
  writeFileSync(config, "interface: eth0\nguards:\n  allow-sending: true\n");
  const words = ["run", "--controller", controller.url, "--key", "bench", "--name", host.name, "--config", config];
  const data = mkdtempSync(path.join(scratch, "data-"));
  const begun = performance.now();
  const child = start("nsenter", ["-t", host.pid, "-n", node, program, ...words, "--data", data]);
  const lines = createInterface({ input: child.stderr });
  const said = [];
  await new Promise((resolve, reject) => {
    lines.on("line", (line) => {
      said.push(line);
      if (line.includes('"connected"')) resolve();
    });
    child.once("exit", () => reject(new Error(`the agent ended: ${said.join("\n")}`)));
  });
  return { child, wallMs: performance.now() - begun, processorMs: processorNs(child.pid) / 1e6 };
}

/** A Node.js that does nothing: what any program for it costs. */
async function measureBare(node) {
  const walls = [];
  const processors = [];
  for (let i = 0; i < Number(options.starts); i++) {
    const begun = performance.now();
    const child = start(node, ["-e", "process.stderr.write('up');setInterval(()=>{},1e6)"]);
    await once(child.stderr, "data");
    walls.push(performance.now() - begun);
    processors.push(processorNs(child.pid) / 1e6);
    await end(child);
  }
  const child = start(node, ["-e", "setInterval(()=>{},1e6)"]);
  await sleep(2000);
  const idle = { ...memoryOf(child.pid), mappings: mappingsOf(child.pid) };
  await end(child);
  return { startMs: median(walls), startProcessorMs: median(processors), idle };
}

async function measureAgent(node, program, [tower, kiosk]) {
  const walls = [];
  const processors = [];
  for (let i = 0; i < Number(options.starts); i++) {
    const { child, wallMs, processorMs } = await startAgent(node, program, kiosk);
    walls.push(wallMs);
    processors.push(processorMs);
    await end(child);
  }
  const [sender, listener] = [await startAgent(node, program, tower), await startAgent(node, program, kiosk)];
  const { pid } = listener.child;
  await sleep(3000);
  const seconds = Number(options.idle);
  const before = { sleeps: sleepsOf(pid), ns: processorNs(pid) };
  await sleep(seconds * 1000);
  const wakes = Object.entries(sleepsOf(pid)).map(([thread, sleeps]) => [
    thread,
    (sleeps - (before.sleeps[thread] ?? 0)) / seconds,
  ]);
  const idleRatio = (processorNs(pid) - before.ns) / 1e9 / seconds;
  const idle = { ...memoryOf(pid), mappings: mappingsOf(pid) };
  const run = await measureRun(sender.child.pid, pid);
  await sleep(seconds * 1000);
  const after = memoryOf(pid);
  await Promise.all([end(sender.child), end(listener.child)]);
  return { startMs: median(walls), startProcessorMs: median(processors), idle, wakes, idleRatio, ...run, after };
}

/** 8 Mbit/s from the one to the other. @returns the greatest figures met */
async function measureRun(senderPid, listenerPid) {
  const runId = "0123456789abcdef";
  const seconds = Number(options.run);
  const stream = { streamId: 1, name: "bench", group: GROUP, port: 48620, ssmSource: null, rateBps: RATE_BPS };
  const streams = [{ ...stream, payloadBytes: PAYLOAD_BYTES, ttl: 1, dscp: 0, burstPackets: 1 }];
  const task = { runId, streams, endNs: seconds * 1e9, intervalNs: 1e9, holdNs: 5e9 };
  const emit = { atNs: 1e9, kind: "emit", streamId: 1 };
  const stop = { atNs: (seconds - 1) * 1e9, kind: "stop", streamId: 1 }; // so that what is sent last is received as well
  const doing = { tower: [emit, stop], kiosk: [{ atNs: 0, kind: "join", streamId: 1 }] };
  const names = Object.keys(doing);
  const prepared = names.map((name) => controller.heard(name, ({ kind }) => kind === "prepared" || kind === "refused"));
  for (const name of names)
    controller.tell(name, { kind: "prepare", runId, epoch: 1, task: { ...task, actions: doing[name] } });
  for (const answer of await Promise.all(prepared))
    if (answer.kind === "refused") throw new Error(JSON.stringify(answer));
  controller.conducts = [{ runId, epoch: 1 }];
  const last = names.map((name) =>
    controller.heard(name, ({ kind, isFinal }) => kind === "report" && isFinal, 1e3 * seconds + 20_000),
  );
  const startControllerNs = Number(process.hrtime.bigint()) + 500e6;
  for (const name of names) controller.tell(name, { kind: "go", runId, epoch: 1, startControllerNs });
  await sleep(2000);
  const most = { sending: 0, receiving: 0 };
  const before = processorNs(listenerPid);
  const watched = Math.max(1, seconds - 4);
  for (let i = 0; i < watched * 2; i++) {
    most.sending = Math.max(most.sending, memoryOf(senderPid).Rss);
    most.receiving = Math.max(most.receiving, memoryOf(listenerPid).Rss);
    await sleep(500);
  }
  const receivingRatio = (processorNs(listenerPid) - before) / 1e9 / watched;
  const receiving = { ...memoryOf(listenerPid), mappings: mappingsOf(listenerPid) };
  const [sent, received] = await Promise.all(last);
  const counts = {
    sent: sent.report.totals.senders[0].sentPackets,
    received: received.report.totals.listeners[0].receipt.received,
  };
  return { sendingMostKB: most.sending, receivingMostKB: most.receiving, receiving, receivingRatio, counts };
}

const median = (values) => [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)];
const mb = (kB) => (kB / 1024).toFixed(1);

function sizeOf(program) {
  const folder = path.resolve(path.dirname(program), "..");
  return Number(must("du", "-sb", "--exclude=node_modules", folder).split("\t")[0]) / 1e6;
}

function print(version, columns) {
  const names = Object.keys(columns);
  const line = (title, cell) =>
    console.log(title.padEnd(38), ...names.map((name) => String(cell(columns[name]) ?? "-").padStart(12)));
  console.log(`\nNode.js ${version}`.padEnd(39), ...names.map((name) => name.padStart(12)));
  line("files without koffi, MB", ({ sizeMB }) => sizeMB?.toFixed(2));
  line("start until connected, ms", ({ startMs }) => startMs.toFixed(0));
  line("processor of that, ms", ({ startProcessorMs }) => startProcessorMs.toFixed(0));
  line("idle, resident, MB", ({ idle }) => mb(idle.Rss));
  line("  its share of shared pages, MB", ({ idle }) => mb(idle.Pss));
  line("  private, MB", ({ idle }) => mb(idle.Anonymous));
  line("idle, processor, %", ({ idleRatio }) => idleRatio && (idleRatio * 100).toFixed(2));
  line("idle, wake-ups a second", ({ wakes }) => wakes?.reduce((sum, [, perS]) => sum + perS, 0).toFixed(0));
  line("sending 8 Mbit/s, resident at most, MB", ({ sendingMostKB }) => sendingMostKB && mb(sendingMostKB));
  line("receiving them, resident at most, MB", ({ receivingMostKB }) => receivingMostKB && mb(receivingMostKB));
  line("  processor, %", ({ receivingRatio }) => receivingRatio && (receivingRatio * 100).toFixed(1));
  line("idle again, resident, MB", ({ after }) => after && mb(after.Rss));
  line("packets sent, received", ({ counts }) => counts && `${counts.sent}, ${counts.received}`);
  if (!options.mappings) return;
  for (const name of names) {
    const { idle, receiving, wakes = [] } = columns[name];
    console.log(`\n${name}: resident by mapping, MB`.padEnd(80), "idle", " receiving");
    for (const kind of new Set([...Object.keys(idle.mappings), ...Object.keys(receiving?.mappings ?? {})])) {
      const cells = [idle, receiving].map((at) => mb(at?.mappings[kind]?.rssKB ?? 0).padStart(9));
      console.log(`  ${kind}`.padEnd(74), ...cells);
    }
    for (const [thread, perS] of wakes)
      if (perS > 0.5) console.log(`  thread ${thread}: ${perS.toFixed(1)} wake-ups a second`);
  }
}

try {
  must("ip", "link", "add", "br0", "type", "bridge", "mcast_snooping", "0");
  must("ip", "link", "set", "br0", "up");
  must("ip", "link", "set", "lo", "up");
  must("ip", "address", "add", `${ROUTER}/24`, "dev", "br0");
  await controller.listen(ROUTER);
  const hosts = [await raiseHost("tower", "192.0.2.1"), await raiseHost("kiosk", "192.0.2.2")];
  const all = {};
  for (const node of options.node) {
    const version = must(node, "--version").trim();
    const columns = { "bare Node.js": await measureBare(node) };
    for (const [name, program] of programs) {
      columns[name] = { sizeMB: sizeOf(program), ...(await measureAgent(node, program, hosts)) };
    }
    print(version, columns);
    all[version] = columns;
  }
  if (options.json !== undefined) writeFileSync(options.json, `${JSON.stringify(all, null, 2)}\n`);
} finally {
  controller.close();
  await endAll();
  rmSync(scratch, { recursive: true, force: true });
}
