/**
 * The agent's data plane against a floor built in the same run: the least that C needs, and the run-time's plain dgram.
 * Two hosts on one bridge, in namespaces of their own that vanish at the end.
 *
 *   npm run build && npm run bench            # pacing for 60 s
 *   npm run bench -- --quick                  # pacing for 10 s
 *   npm run bench -- --only pacing            # or sending, or listening
 *   npm run bench -- --json FILE
 *
 * Needs gcc, iproute2 and either root or user namespaces.
 */
import { spawn, spawnSync } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";
import { parseArgs } from "node:util";

const { values: options } = parseArgs({
  options: { quick: { type: "boolean", default: false }, only: { type: "string" }, json: { type: "string" } },
});
const GROUP = "239.195.77.1";
const PORT = "48620";
const PAYLOAD = 1316;
const FLOOD_SECONDS = options.quick ? 2 : 4;
const PACED_SECONDS = options.quick ? 10 : 60;
const PACED_BPS = 8e6;
/** Lossless rate is searched to this precision. */
const SEARCH_STEPS = options.quick ? 5 : 7;
const REPEATS = options.quick ? 1 : 3;

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

const here = (name) => fileURLToPath(new URL(name, import.meta.url));
const scratch = mkdtempSync(join(tmpdir(), "dyetrace-bench-"));
const holders = [];

function must(command, ...args) {
  const { status, stdout, stderr } = spawnSync(command, args, { encoding: "utf8" });
  if (status !== 0) throw new Error(`${command} ${args.join(" ")}: ${stderr}`);
  return stdout;
}

/** A host on the bridge: a namespace that lives as long as the process that holds it. */
async function raiseHost(name, address) {
  const holder = spawn("unshare", ["-n", "sleep", "infinity"], { stdio: "ignore" });
  holders.push(holder);
  await once(holder, "spawn");
  const own = must("readlink", "/proc/self/ns/net");
  for (let i = 0; i < 200 && must("readlink", `/proc/${holder.pid}/ns/net`) === own; i++) {
    await new Promise((resolve) => setTimeout(resolve, 10));
  }
  const inside = (...command) => must("nsenter", "-t", String(holder.pid), "-n", ...command);
  must("ip", "link", "add", name, "type", "veth", "peer", "name", "eth0", "netns", String(holder.pid));
  must("ip", "link", "set", name, "master", "br0", "up");
  inside("ip", "link", "set", "lo", "up");
  inside("ip", "address", "add", `${address}/24`, "dev", "eth0");
  inside("ip", "link", "set", "eth0", "up");
  const index = JSON.parse(inside("ip", "-j", "link", "show", "eth0"))[0].ifindex;
  return { pid: String(holder.pid), address, index: String(index) };
}

function start(host, command, ...args) {
  return spawn("nsenter", ["-t", host.pid, "-n", command, ...args], { stdio: ["ignore", "pipe", "inherit"] });
}

async function lastLine(child) {
  let last = "";
  const lines = createInterface({ input: child.stdout });
  for await (const line of lines) last = line;
  return JSON.parse(last);
}

/** Starts a listener, waits until it has joined, feeds it `pps` for a while. */
async function feed(listener, pps, seconds) {
  const child = listener();
  const lines = createInterface({ input: child.stdout })[Symbol.asyncIterator]();
  await lines.next(); // "ready"
  const sent = await lastLine(
    start(tower, sender, GROUP, PORT, tower.index, `${PAYLOAD}`, `${seconds}`, `${pps}`, "feed"),
  );
  const { value } = await lines.next();
  return { ...JSON.parse(value), sent: sent.sent, offeredPps: sent.sent / sent.seconds };
}

/**
 * The highest rate that a listener takes with no packet lost, by bisection under what the feed can offer. Where even that
 * is taken whole, the listener's own limit lies somewhere above.
 */
async function losslessRate(name, listener, mostPps) {
  let low = 0;
  let high = mostPps;
  let best = null;
  for (let step = 0; step < SEARCH_STEPS; step++) {
    const pps = step === 0 ? high : (low + high) / 2;
    const got = await feed(listener, pps, FLOOD_SECONDS);
    const isLossless = got.received === got.sent;
    process.stderr.write(`  ${name}: ${Math.round(got.offeredPps)} packets/s, ${got.sent - got.received} lost\n`);
    if (isLossless && (best === null || got.offeredPps > best.offeredPps)) best = got;
    if (isLossless) low = pps;
    else high = pps;
    if (step === 0 && isLossless) break;
  }
  if (best === null) return { pps: 0, cpuUsPerPacket: null, isFeedLimited: false };
  const cpuUsPerPacket = (best.cpuSeconds / best.received) * 1e6;
  return { pps: best.offeredPps, cpuUsPerPacket, isFeedLimited: low === mostPps };
}

const best = (results) => results.reduce((a, b) => (b.pps > a.pps ? b : a));

async function bestLosslessRate(name, listener, mostPps) {
  const results = [];
  for (let i = 0; i < REPEATS; i++) results.push(await losslessRate(name, listener, mostPps));
  const fullyFed = results.filter(({ isFeedLimited }) => isFeedLimited);
  return best(fullyFed.length > 0 ? fullyFed : results);
}

async function sendRate(run) {
  const results = [];
  for (let i = 0; i < REPEATS; i++) {
    const got = await lastLine(run());
    results.push({ pps: got.sent / got.seconds, cpuUsPerPacket: (got.cpuSeconds / got.sent) * 1e6 });
  }
  return best(results);
}

let sender;
let tower;
let kiosk;

async function main() {
  sender = join(scratch, "sender-floor");
  const floorListener = join(scratch, "listener-floor");
  must("gcc", "-O2", "-o", sender, here("sender-floor.c"));
  must("gcc", "-O2", "-o", floorListener, here("listener-floor.c"));
  must("ip", "link", "add", "br0", "type", "bridge", "mcast_snooping", "0");
  must("ip", "link", "set", "br0", "up");
  tower = await raiseHost("tower", "192.0.2.1");
  kiosk = await raiseHost("kiosk", "192.0.2.2");

  const wanted = (part) => options.only === undefined || options.only === part;
  const sending = wanted("sending") || wanted("listening") ? await measureSending(wanted("sending")) : null;
  const listening = wanted("listening") ? await measureListening(floorListener, sending.floor.pps) : null;
  return { sending, listening, pacing: wanted("pacing") ? await measurePacing() : null };
}

/** @param isWhole false: only the floor, which is what listeners can be fed */
async function measureSending(isWhole) {
  process.stderr.write("sending, all it can\n");
  const flood = `${FLOOD_SECONDS}`;
  const least = [sender, GROUP, PORT, tower.index, `${PAYLOAD}`, flood, "0", "flood"];
  const ours = [process.execPath, here("sender-agent.mjs"), GROUP, PORT, "eth0", `${PAYLOAD}`, flood, "20e9"];
  const plain = [process.execPath, here("sender-dgram.mjs"), GROUP, PORT, tower.address, `${PAYLOAD}`, flood];
  const floor = await sendRate(() => start(tower, ...least));
  if (!isWhole) return { floor };
  const agent = await sendRate(() => start(tower, ...ours));
  return { floor, agent, dgram: await sendRate(() => start(tower, ...plain)) };
}

async function measureListening(floorListener, mostPps) {
  process.stderr.write("receiving without loss\n");
  const long = `${FLOOD_SECONDS + 15}`;
  const commands = {
    floor: [floorListener, GROUP, PORT, kiosk.index, long],
    agent: [process.execPath, here("listener-agent.mjs"), GROUP, PORT, "eth0", long],
    dgram: [process.execPath, here("listener-dgram.mjs"), GROUP, PORT, kiosk.address, long],
  };
  const listening = {};
  for (const [name, command] of Object.entries(commands)) {
    listening[name] = await bestLosslessRate(name, () => start(kiosk, ...command), mostPps);
  }
  return listening;
}

async function measurePacing() {
  process.stderr.write(`pacing, ${PACED_BPS / 1e6} Mbit/s for ${PACED_SECONDS} s\n`);
  const paced = `${PACED_SECONDS}`;
  const pps = PACED_BPS / (8 * PAYLOAD);
  // Both at once: whatever else the machine does then, it does to both.
  const ours = [process.execPath, here("sender-agent.mjs"), GROUP, PORT, "eth0", `${PAYLOAD}`, paced, `${PACED_BPS}`];
  const least = [sender, GROUP, `${Number(PORT) + 2}`, tower.index, `${PAYLOAD}`, paced, `${pps}`, "paced"];
  const [floor, agent] = await Promise.all([lastLine(start(tower, ...least)), lastLine(start(tower, ...ours))]);
  return { floor, agent, rateErrorRatio: (agent.sent * PAYLOAD * 8) / PACED_SECONDS / PACED_BPS - 1 };
}

function print({ sending, listening, pacing }) {
  const rate = (title, part) => {
    console.log(`\n${title}`.padEnd(34), "packets/s", "  of floor", "  CPU µs/packet");
    for (const [name, { pps, cpuUsPerPacket, isFeedLimited }] of Object.entries(part)) {
      const ratio = isFeedLimited ? "all fed" : (pps / part.floor.pps).toFixed(2);
      const cpu = cpuUsPerPacket === null ? "-" : cpuUsPerPacket.toFixed(2);
      console.log(`  ${name}`.padEnd(33), String(Math.round(pps)).padStart(9), ratio.padStart(10), cpu.padStart(15));
    }
  };
  if (sending !== null) rate("sending, all it can", sending);
  if (listening !== null) rate("receiving without loss", listening);
  if (pacing === null) return;
  console.log("\nlateness at 8 Mbit/s, µs".padEnd(34), "p50       p99     p99.9       max");
  for (const [name, { pacing: p }] of Object.entries({ floor: pacing.floor, agent: pacing.agent })) {
    const cells = [p.p50Ns, p.p99Ns, p.p999Ns, p.maxNs].map((ns) => (ns / 1e3).toFixed(1).padStart(9));
    console.log(`  ${name}`.padEnd(28), cells.join(" "));
  }
  console.log(`\nrate really sent: ${(pacing.rateErrorRatio * 100).toFixed(4)} % off; skipped ${pacing.agent.skipped}`);
}

try {
  const result = await main();
  print(result);
  if (options.json !== undefined) writeFileSync(options.json, `${JSON.stringify(result, null, 2)}\n`);
  const isOff = Math.abs(result.pacing?.rateErrorRatio ?? 0) > 0.001;
  if (isOff) process.exitCode = 1;
} finally {
  for (const holder of holders) holder.kill("SIGKILL");
  rmSync(scratch, { recursive: true, force: true });
}
