/**
 * 500 agents as real WebSocket clients, each reporting 10 streams a second to one controller process with its store on
 * disk. Prints the controller's CPU and memory and how long an acknowledgement takes, and checks that nothing is lost.
 *
 *   npm run build && node tests/bench/soak/crowd.bench.mjs [--agents 500] [--seconds 60] [--json FILE]
 *
 * With --store postgres://... [--controllers 2] the agents are shared out among several controllers on an empty database.
 */
import { spawn } from "node:child_process";
import { randomBytes } from "node:crypto";
import { once } from "node:events";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import { parseArgs } from "node:util";
import { CONTROL_PROTOCOL, DEFAULT_GUARDS, shortenReport } from "@dyetrace/wire";
import { WebSocket } from "ws";
import { reportOf, SimulatedListener } from "./simulated-reports.mjs";

const { values: options } = parseArgs({
  options: {
    agents: { type: "string", default: "500" },
    seconds: { type: "string", default: "60" },
    json: { type: "string" },
    store: { type: "string", default: "" },
    controllers: { type: "string", default: "1" },
  },
});
const AGENTS = Number(options.agents);
const SECONDS = Number(options.seconds);
const STREAMS = 10;
const PACKETS_PER_SECOND = 100;
const MOST_STRANGERS = 200;
const KEY = randomBytes(16).toString("hex");
const RUN = "00000000000000aa";

const capabilities = {
  sockets: "portable",
  platform: "linux",
  osRelease: "",
  architecture: "",
  nodeVersion: process.version,
  kernelTimestamps: true,
  hostLossCount: true,
  ttlSeen: true,
  dscpSeen: true,
  destinationSeen: true,
  ssm: true,
  ipv6: true,
  watcher: true,
  interface: {
    name: "eth0",
    index: 1,
    ipv4: "192.0.2.1",
    ipv6: [],
    mac: null,
    mtuBytes: 1500,
    speedBps: null,
    isUp: true,
    isWireless: false,
  },
  receiveBufferBytes: 4_000_000,
  guards: DEFAULT_GUARDS,
};

/** Texts of reports are made once for all agents, so that this process costs little beside the controller. */
function prepareReports() {
  const listeners = Array.from({ length: STREAMS }, (_, i) => new SimulatedListener(i + 1, PACKETS_PER_SECOND));
  return Array.from({ length: SECONDS }, (_, second) => {
    const entries = listeners.map((listener, s) => listener.second(second, (seq) => (seq * 31 + s * 7) % 5003 === 0));
    const { report, watch } = reportOf(second, entries);
    const received = entries.reduce((sum, { receipt }) => sum + receipt.firstCopies, 0);
    // As agents write them (agent/src/control/spool/written-report.ts).
    return {
      text: `"report":${JSON.stringify(shortenReport(report))},"watch":${JSON.stringify(watch)},"isFinal":false}`,
      received,
    };
  });
}

/**
 * Of one agent in eight hours by the shipped retention: each second of a quarter of an hour, stretches of 10 s up to two hours and
 * of a minute from there, which are about twice as large (see controller/src/runs/disk-need.ts), and a row of counts a minute.
 */
const nightBytes = (reportBytes) => (900 + 2 * (630 + 360)) * reportBytes + 480 * STREAMS * 160;

const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-crowd-"));
const program = fileURLToPath(new URL("./crowd-controller.mjs", import.meta.url));
const controllers = [];
try {
  const urls = [];
  for (let at = 0; at < Number(options.controllers); at++) {
    const controller = spawn(process.execPath, [program, folder, KEY, RUN, options.store], {
      stdio: ["ignore", "pipe", "inherit", "ipc"],
    });
    controllers.push(controller);
    urls.push(
      String((await once(controller.stdout, "data"))[0])
        .trim()
        .replace("http", "ws"),
    );
  }
  const reports = prepareReports();
  console.log(`One report: ${(reports[1].text.length / 1000).toFixed(1)} kB of JSON for ${STREAMS} streams`);
  const ask = async () => {
    const states = await Promise.all(
      controllers.map(async (controller) => {
        controller.send("state");
        return (await once(controller, "message"))[0];
      }),
    );
    // The store is one; processor and memory are each controller's own.
    const sum = (of) => states.reduce((all, state) => all + of(state), 0);
    const cpu = { user: sum((state) => state.cpu.user), system: sum((state) => state.cpu.system) };
    return { ...states[0], cpu, memory: sum((state) => state.memory) };
  };
  const latenciesMs = [];
  const connect = async (i) => {
    const socket = new WebSocket(`${urls[i % urls.length]}/agent-link`);
    const sentAt = new Map();
    const stint = randomBytes(8).toString("hex");
    await once(socket, "open");
    const hello = { kind: "hello", protocol: CONTROL_PROTOCOL, version: "bench", name: `agent-${i}`, key: KEY };
    socket.send(JSON.stringify({ ...hello, instance: randomBytes(8).toString("hex"), runId: RUN, capabilities }));
    await Promise.race([once(socket, "message"), once(socket, "close").then(() => Promise.reject(new Error("cut")))]);
    let acked = 0;
    socket.on("message", (data) => {
      const text = String(data);
      if (!text.startsWith('{"kind":"ack"')) return;
      const { lastNumber } = JSON.parse(text);
      acked++;
      latenciesMs.push(performance.now() - sentAt.get(lastNumber));
      sentAt.delete(lastNumber);
    });
    return {
      socket,
      acked: () => acked,
      send: (number, report) => {
        sentAt.set(number, performance.now());
        const head = `{"kind":"report","runId":"${RUN}","stint":"${stint}","firstNumber":${number},"lastNumber":${number},"droppedReports":0,`;
        socket.send(head + report.text);
        socket.send(JSON.stringify({ kind: "clock-ask", id: number }));
      },
    };
  };
  // A controller lets 512 in that have not said hello: a real agent that is cut then tries again later.
  const agents = [];
  while (agents.length < AGENTS) {
    const next = Array.from({ length: Math.min(MOST_STRANGERS, AGENTS - agents.length) }, (_, i) => agents.length + i);
    agents.push(...(await Promise.all(next.map(connect))));
  }
  console.log(`${AGENTS} agents connected`);
  const before = await ask();
  const beganMs = performance.now();
  const cpuOfBench = process.cpuUsage();
  // Each agent has its own moment within the second, as real ones do.
  await Promise.all(
    agents.map(async (agent, i) => {
      for (let second = 0; second < SECONDS; second++) {
        const dueMs = beganMs + (second + i / AGENTS) * 1000;
        await sleep(Math.max(0, dueMs - performance.now()));
        agent.send(second + 1, reports[second]);
      }
    }),
  );
  // On a busy machine the rest takes its time; it is over when nothing more comes.
  let [progress, progressMs] = [0, performance.now()];
  while (agents.some((agent) => agent.acked() < SECONDS) && performance.now() - progressMs < 60_000) {
    await sleep(50);
    if (latenciesMs.length > progress) [progress, progressMs] = [latenciesMs.length, performance.now()];
  }
  const elapsedS = (performance.now() - beganMs) / 1000;
  const after = await ask();
  latenciesMs.sort((a, b) => a - b);
  const at = (share) => Number(latenciesMs[Math.floor(share * (latenciesMs.length - 1))].toFixed(1));
  const cpuS = (after.cpu.user + after.cpu.system - before.cpu.user - before.cpu.system) / 1e6;
  const own = process.cpuUsage(cpuOfBench);
  const expected = reports.reduce((sum, report) => sum + report.received, 0) * AGENTS;
  const result = {
    agents: AGENTS,
    controllers: controllers.length,
    storeBytes: after.bytes,
    storeBytesANight: Math.round(AGENTS * nightBytes((after.bytes - before.bytes) / (AGENTS * SECONDS))),
    streams: STREAMS,
    seconds: SECONDS,
    elapsedS: Number(elapsedS.toFixed(1)),
    reportsPerSecond: Math.round((AGENTS * SECONDS) / elapsedS),
    controllerCpuShare: Number((cpuS / elapsedS).toFixed(2)),
    benchCpuShare: Number(((own.user + own.system) / 1e6 / elapsedS).toFixed(2)),
    controllerMemoryMb: Math.round(after.memory / 1e6),
    controllerCpuMsPerReport: Number(((cpuS * 1000) / latenciesMs.length).toFixed(2)),
    connectionsCut: agents.filter(({ socket }) => socket.readyState !== WebSocket.OPEN).length,
    acknowledgementMs: { p50: at(0.5), p99: at(0.99), max: at(1) },
    sent: AGENTS * SECONDS,
    acknowledged: latenciesMs.length,
    inStore: after.kept,
    packets: { sent: expected, inStore: after.received },
    isNothingLost: after.kept === AGENTS * SECONDS && after.received === expected,
  };
  for (const { socket } of agents) socket.terminate();
  console.log(JSON.stringify(result, null, 2));
  if (options.json !== undefined) writeFileSync(options.json, `${JSON.stringify(result, null, 2)}\n`);
  if (!result.isNothingLost) process.exitCode = 1;
} finally {
  for (const controller of controllers) {
    const gone = once(controller, "exit");
    controller.kill("SIGKILL");
    await gone;
  }
  rmSync(folder, { recursive: true, force: true });
}
