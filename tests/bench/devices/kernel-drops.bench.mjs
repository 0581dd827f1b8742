/**
 * Switches that talk on the practice site: each link of the demo's plan that the stream crosses drops all of its frames, and then all
 * membership reports on their way up. No part of `npm test`: ten minutes, root, snmpd and lldpd, and after `npm run build`.
 * `../locate/devices.bench.mjs` has the same without a network, with drops before and behind the counters and other traffic beside
 * it. Reports that are lost on their way to a hub do no harm while another host behind it is a member: such runs find nothing.
 *
 *   node tests/bench/devices/kernel-drops.bench.mjs
 *   node tests/bench/devices/kernel-drops.bench.mjs --links 'core:1>pier-east:24'
 *
 * Exit code 1 where a run that found something does not have the link among its suspects.
 */
import { readFileSync } from "node:fs";
import { parseArgs } from "node:util";
import { ControllerClient, raisePractice } from "@dyetrace/controller";
import { loadPracticeFaults } from "@dyetrace/practice";
import { loadSitePlan, pathBetween } from "@dyetrace/site";

const { values: options } = parseArgs({ options: { links: { type: "string" } } });
const SOURCE = "tower";
const text = readFileSync(new URL("../../../packages/practice/demo/quillfen.yaml", import.meta.url), "utf8");
const graph = loadSitePlan(text, "quillfen.yaml");
const listeners = [...graph.nodes.values()].flatMap(({ agent }) => (agent === null || agent === SOURCE ? [] : [agent]));
const crossed = [
  ...new Set(listeners.flatMap((agent) => pathBetween(graph, SOURCE, agent).segments.map(({ id }) => id))),
];
const links = options.links === undefined ? crossed : options.links.split(",");
const scenario = `
scenario: reach
streams: [ { name: board, source: ${SOURCE}, group: 239.195.10.4, rate: 1 Mbit/s } ]
timeline:
  - { at: 0s, join: board, agents: all }
  - { at: 1s, emit: board }
  - { at: 5s, stop: board }
`;
const reverse = (link) => link.split(">").reverse().join(">");
const CAUSES = {
  frames: (link) => ({ fault: `drop, on: "${link}", share: 100 %`, true: link }),
  reports: (link) => ({ fault: `drop-reports, on: "${reverse(link)}"`, true: reverse(link) }),
};

const practice = await raisePractice({
  graph,
  plan: { file: "quillfen.yaml", text },
  listen: { host: "127.0.0.1", port: 0 },
  log: () => {},
  switchesTalk: true,
});
const client = new ControllerClient(practice.controller.url);
const devices = await client.ask("listDevices");
const rows = [];
try {
  for (const link of links) {
    for (const [cause, of] of Object.entries(CAUSES)) {
      const { fault, true: truth } = of(link);
      // The source's own host joins nothing.
      if (cause === "reports" && link === crossed[0]) continue;
      const faults = loadPracticeFaults(`faults:\n  - { fault: ${fault} }\n`, "faults.yaml", graph);
      await practice.site.inject(faults);
      try {
        const { findings, devices: told } = await run();
        if (findings.length === 0) {
          console.log(`${link} ${cause}: nothing failed`);
          continue;
        }
        const finding = findings.find(({ kind }) => kind === "stops") ?? findings[0];
        const { suspects } = finding;
        const reasons = finding.evidence.filter((one) => /counted|table/.test(one));
        rows.push({ suspects, isTrue: suspects.includes(truth) });
        console.log(
          `${link} ${cause}: ${suspects.length} suspects ${JSON.stringify(suspects)}${suspects.includes(truth) ? "" : `, WITHOUT ${truth}`}; ${told?.length ?? 0} devices; ${reasons.join(" ")}`,
        );
      } finally {
        await practice.site.lift(faults);
        await practice.site.settled();
      }
    }
  }
} finally {
  await practice[Symbol.asyncDispose]();
}
const median = (list) => list.toSorted((a, b) => a - b)[list.length >> 1];
const wrong = rows.filter(({ isTrue }) => !isTrue).length;
console.log(
  `${devices.length} devices; ${rows.length} runs, median ${median(rows.map(({ suspects }) => suspects.length))} suspects, ${wrong} without the true one`,
);
if (wrong > 0) process.exitCode = 1;

async function run() {
  const request = { scenario: { file: "reach.yaml", text: scenario }, site: { file: "quillfen.yaml", text } };
  const runId = await client.startRun({ ...request, parameters: {}, despite: [] });
  for await (const progress of client.followRun(runId)) {
    if (progress.kind === "done") return progress.report;
    if (progress.kind === "failed") throw new Error(`${progress.code}: ${progress.message}. ${progress.hint}`);
  }
  throw new Error("The controller ended the run's progress without a report");
}
