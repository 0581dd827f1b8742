/**
 * What counters and tables of switches add to the localiser, on the demo plan: everything dropped on each link in each direction, before
 * and behind its ports' counters, under other seeds and loads of the site's own.
 *
 *   npx tsc -b packages/locate && node tests/bench/locate/devices.bench.mjs [rounds]
 *
 * Exit code 1 where a true place was ruled out.
 */
import { readFileSync } from "node:fs";
import { locate } from "@dyetrace/locate";
import { loadSitePlan } from "@dyetrace/site";
import { DROP_PLACES, seededRandom, simulateDevices, simulateRun } from "./simulation.mjs";

const rounds = Number(process.argv[2] ?? 5);
const plan = new URL("../../../packages/practice/demo/quillfen.yaml", import.meta.url);
const graph = loadSitePlan(readFileSync(plan, "utf8"), "quillfen.yaml");
const nodes = [...graph.nodes.values()];
const hosts = nodes.filter(({ kind }) => kind === "host").map(({ name }) => name);
const read = new Set(nodes.filter(({ kind }) => kind === "switch" || kind === "access-point").map(({ name }) => name));
const streams = ["tower", "office"].map((source, index) => ({
  ...{ stream: `from ${source}`, group: `239.195.10.${4 + index}`, source, packets: 1_000 },
  listeners: hosts.filter((host) => host !== source),
}));
const count = (findings) => findings.reduce((sum, { suspects }) => sum + suspects.length, 0);
const median = (all) => all.toSorted((one, other) => one - other)[all.length >> 1];

/** What devices say beside the agents accuses no place. */
const accusing = (findings) => findings.filter(({ kind }) => kind !== "device-disagrees");
/** Stated confidence, to the hundredth: how often it was said, and how often the true place was among the suspects. */
const stated = { "all counters right": new Map(), "one counter lies": new Map(), "agents alone": new Map() };
function note(table, findings, segment) {
  for (const { confidence, suspects } of accusing(findings)) {
    const row = table.get(confidence) ?? { said: 0, right: 0 };
    row.said++;
    if (suspects.includes(segment)) row.right++;
    table.set(confidence, row);
  }
}
const LIES = [() => 0, (frames) => 2 * frames, (frames) => Math.round(frames / 3), () => 1_500];
function withLie(devices, random) {
  const [liar, lie] = [devices, LIES].map((all) => all[Math.floor(random() * all.length)]);
  const port = liar.ports[Math.floor(random() * liar.ports.length)];
  const side = random() < 0.5 ? "in" : "out";
  const lying = { ...port, [side]: { ...port[side], frames: lie(port[side].frames) } };
  return devices.map((device) =>
    device === liar ? { ...device, ports: device.ports.map((one) => (one === port ? lying : one)) } : device,
  );
}

let wrong = 0;
let [lied, misled] = [0, 0];
for (const background of [0, 20, 200, 2_000]) {
  const [before, after] = [[], []];
  for (let round = 0; round < rounds; round++) {
    for (const [index, segment] of [...graph.segments.keys()].entries()) {
      for (const [place, where] of DROP_PLACES.entries()) {
        const random = seededRandom(10_000 * round + 10 * index + place + background);
        const agents = simulateRun(graph, streams, [{ kind: "dead-segment", segment }], random);
        const without = locate(graph, agents).findings;
        if (without.length === 0) continue;
        const drop = { segment, where, ratio: 1 };
        const devices = simulateDevices({ graph, streams, drop, read, background }, random);
        const findings = accusing(locate(graph, { ...agents, devices }).findings);
        note(stated["all counters right"], findings, segment);
        note(stated["agents alone"], without, segment);
        const lying = accusing(locate(graph, { ...agents, devices: withLie(devices, random) }).findings);
        note(stated["one counter lies"], lying, segment);
        lied++;
        if (!lying.some(({ suspects }) => suspects.includes(segment))) misled++;
        before.push(count(without));
        after.push(count(findings));
        if (!findings.some(({ suspects }) => suspects.includes(segment))) wrong++;
      }
    }
  }
  console.log(
    `${background} frames/s of others: ${before.length} runs, suspects ${median(before)} without and ${median(after)} with devices (median), wrong so far ${wrong}`,
  );
}
console.log(`one counter of the site lies: ${lied} runs, the true place ruled out in ${misled}`);
for (const [world, table] of Object.entries(stated)) {
  for (const [confidence, { said, right }] of [...table].sort(([one], [other]) => one - other)) {
    console.log(
      `${world.padEnd(20)} stated ${confidence.toFixed(2)}: ${said} findings, right ${((100 * right) / said).toFixed(1)} %`,
    );
  }
}
process.exitCode = wrong === 0 ? 0 : 1;
