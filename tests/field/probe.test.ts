import { spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { text } from "node:stream/consumers";
import { fileURLToPath } from "node:url";
import { loadPracticeFaults } from "@dyetrace/practice";
import type { ProbeRun, RunReport } from "@dyetrace/wire";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";

const DYETRACE = fileURLToPath(new URL("../../controller/bin/dyetrace.mjs", import.meta.url));

interface Ended {
  readonly code: number | null;
  readonly stdout: string;
  readonly stderr: string;
}

/** The program as a user starts it; the controller that it asks is in this process, so nothing here may block. */
async function runDyetrace(argv: readonly string[]): Promise<Ended> {
  const child = spawn(process.execPath, [DYETRACE, ...argv], { stdio: ["ignore", "pipe", "pipe"] });
  const [stdout, stderr, [code]] = await Promise.all([
    text(child.stdout),
    text(child.stderr),
    once(child, "exit") as Promise<[number | null]>,
  ]);
  return { code, stdout, stderr };
}

/** Two hosts at each switch; the first run uses two of the four. */
const PLAN = `
site: Quillfen probe
nodes:
  core: { kind: switch, querier: true }
  pier: { kind: switch }
  tower: { kind: host }
  office: { kind: host }
  kiosk-1: { kind: host }
  kiosk-2: { kind: host }
links:
  - core:1 -- pier:24
  - core:9 -- tower:eth0
  - core:8 -- office:eth0
  - pier:1 -- kiosk-1:eth0
  - pier:2 -- kiosk-2:eth0
`;
const SCENARIO = `
scenario: two-of-four
streams:
  - { name: board, source: tower, group: 239.195.77.1, rate: 500 kbit/s, payload: 700 B }
timeline:
  - { at: 0s, join: board, agents: [office, kiosk-1, kiosk-2] }
  - { at: 500ms, emit: board }
  - { at: 2500ms, stop: board }
`;
/** By the kernel's own packet filter in the switch's namespace: nothing that it would forward gets through. */
const DEAD_SWITCH = "drop, on: pier, share: 100 %";

describe("probe: given a switch that forwards nothing, which looks like the trunk before it", () => {
  let bench: PracticeBench;
  let folder = "";
  beforeAll(async () => {
    folder = mkdtempSync(path.join(tmpdir(), "dyetrace-probe-"));
    bench = await raiseBench(PLAN);
  });
  afterAll(async () => {
    await bench?.[Symbol.asyncDispose]();
    rmSync(folder, { recursive: true, force: true });
  });
  const command = (...argv: string[]) => runDyetrace(["probe", ...argv, "--controller", bench.practice.controller.url]);
  const probesOf = async (runId: string): Promise<readonly ProbeRun[]> =>
    (await bench.client.get(`/api/runs/${runId}/probes`)) as readonly ProbeRun[];

  test("then the probe's report names the switch alone, and each report tells of the other", async () => {
    const standing = loadPracticeFaults(`faults:\n  - { fault: ${DEAD_SWITCH} }\n`, "faults.yaml", bench.site.graph);
    await bench.site.inject(standing);
    try {
      const first = await bench.run(SCENARIO);
      expect(first.findings).toHaveLength(1);
      const suspects = first.findings[0]?.suspects ?? [];
      expect(suspects).toEqual(expect.arrayContaining(["pier", "core:1>pier:24"]));

      const dry = await command(first.run, "--dry-run");
      expect(dry).toMatchObject({ code: 0, stdout: "" });
      expect(dry.stderr).toMatch(/tower sends to 239\.195\.77\.1.*This repeats what failed/);
      expect(await probesOf(first.run)).toEqual([]); // nothing was sent

      const file = path.join(folder, "second.json");
      const probe = await command(first.run, "--json", file);
      expect(probe.code, probe.stderr).toBe(1); // the fault is there
      const second = JSON.parse(readFileSync(file, "utf8")) as RunReport;
      expect(second.findings.map((one) => one.suspects)).toEqual([["pier"]]);
      expect(second.probe).toMatchObject({ of: first.run, outcome: "narrowed", before: suspects, after: ["pier"] });
      expect(probe.stdout).toContain(`Probe of run ${first.run}`);
      expect(await probesOf(first.run)).toEqual([{ runId: second.run, state: "done", probe: second.probe }]);
      const shown = await runDyetrace(["report", first.run, "--controller", bench.practice.controller.url]);
      expect(shown.stdout).toContain(`Probed by run ${second.run}`);
    } finally {
      await bench.site.lift(standing);
      await bench.site.settled();
    }
  });

  test("then once the fault is gone a probe says so, and keeps the first run's suspects", async () => {
    const first = await bench.run(SCENARIO.replace("77.1", "77.9"), { faults: [DEAD_SWITCH] });
    const file = path.join(folder, "gone.json");
    const probe = await command(first.run, "--json", file);
    expect(probe.code, probe.stderr).toBe(0);
    const second = JSON.parse(readFileSync(file, "utf8")) as RunReport;
    expect(second).toMatchObject({
      verdict: "pass",
      findings: [],
      probe: { of: first.run, outcome: "gone", after: first.findings[0]?.suspects },
    });
  });
});
