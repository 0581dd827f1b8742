import { execFile } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";
import type { RunReport } from "@dyetrace/wire";
import { afterAll, beforeAll, expect, test } from "vitest";

/** The programs under the other versions of Node.js that we name; this one has all other tests. Each comes from the npm registry. */
const OTHERS = [22, 24].filter((major) => major !== Number(process.versions.node.split(".")[0]));
const DYETRACE = fileURLToPath(new URL("../../controller/bin/dyetrace.mjs", import.meta.url));
const demo = (name: string): string => fileURLToPath(new URL(`../../packages/practice/demo/${name}`, import.meta.url));

let folder = "";
let nodeOf = (_major: number): string => "";
beforeAll(async () => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-nodes-"));
  const module: unknown = await import(new URL("../../deploy/node-binary.mjs", import.meta.url).href);
  const { nodeFolder } = module as { nodeFolder(major: number, cpu: string): string };
  nodeOf = (major) => path.join(nodeFolder(major, process.arch), "bin", "node");
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

interface Ended {
  readonly code: unknown;
  readonly stdout: string;
  readonly stderr: string;
}
function run(major: number, ...argv: readonly string[]): Promise<Ended> {
  return new Promise((resolve) => {
    execFile(nodeOf(major), [DYETRACE, ...argv], { maxBuffer: 64e6 }, (error, stdout, stderr) =>
      resolve({ code: error?.code ?? 0, stdout, stderr }),
    );
  });
}

test.concurrent.each(OTHERS)(
  "given Node.js %i, then practice site, controller and agents do the main job under it, and its own SQLite keeps the run, copies it and puts it back",
  async (major) => {
    const data = path.join(folder, `data-${major}`);
    // A second of traffic is enough to see which hosts it does not reach.
    const scenario = path.join(folder, `reach-${major}.yaml`);
    writeFileSync(
      scenario,
      `scenario: reach
streams:
  - { name: board, source: tower, group: 239.195.10.4, rate: 2 Mbit/s }
timeline:
  - { at: 0s, join: board }
  - { at: 500ms, emit: board }
  - { at: 1700ms, stop: board }
expect: { loss: 0 % }
`,
    );
    const words = ["practice", "run", demo("quillfen.yaml"), scenario, "--fault", demo("fault-pier-east.yaml")];
    const ran = await run(major, ...words, "--data", data, "--json", "-");
    expect(ran.stderr).not.toMatch(/Warning|is experimental/);
    expect(ran.code).toBe(1); // the verdict is fail
    const report = JSON.parse(ran.stdout) as RunReport;
    expect(report.findings).toMatchObject([{ kind: "stops" }]);
    expect(report.findings[0]?.suspects).toContain("core:1>pier-east:24");

    const copy = path.join(folder, `copy-${major}.sqlite`);
    expect(await run(major, "backup", copy, "--data", data)).toMatchObject({ code: 0 });
    expect(await run(major, "restore", copy, "--data", `${data}-again`)).toMatchObject({ code: 0 });
    const kept = await run(major, "runs", "--data", `${data}-again`, "--json");
    expect(kept.stdout).toContain(report.run);
  },
);
