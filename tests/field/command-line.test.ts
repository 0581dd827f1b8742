import { type ChildProcess, type SpawnSyncReturns, spawn, spawnSync } from "node:child_process";
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { findPracticeSites } from "@dyetrace/practice";
import { RunReportSchema } from "@dyetrace/wire";
import Schema from "typebox/schema";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { inTurn } from "./support/in-turn.ts";
import { sitesOfProcess } from "./support/sites-of-process.ts";

const ROOT = new URL("../..", import.meta.url).pathname;
const DYETRACE = path.join(ROOT, "controller/bin/dyetrace.mjs");
const DEMO = path.join(ROOT, "packages/practice/demo");
const PLAN = path.join(DEMO, "quillfen.yaml");
const REACH = path.join(DEMO, "reach.yaml");

/** A program as a user starts it, with everything that it prints. */
class Program {
  readonly child: ChildProcess;
  readonly #exit: Promise<number | null>;
  #printed = "";

  constructor(argv: readonly string[]) {
    this.child = spawn(process.execPath, argv, { cwd: ROOT, stdio: ["ignore", "pipe", "pipe"] });
    for (const stream of [this.child.stdout, this.child.stderr]) {
      stream?.on("data", (chunk) => {
        this.#printed += String(chunk);
      });
    }
    this.#exit = new Promise((resolve) => this.child.once("exit", resolve));
  }

  get printed(): string {
    return this.#printed;
  }

  async until(text: string, withinMs: number): Promise<void> {
    const deadline = Date.now() + withinMs;
    while (!this.#printed.includes(text)) {
      if (this.child.exitCode !== null || Date.now() > deadline) {
        throw new Error(`"${text}" was not printed. What was printed:\n${this.#printed}`);
      }
      await new Promise((resolve) => setTimeout(resolve, 50));
    }
  }

  exit(): Promise<number | null> {
    return this.#exit;
  }

  /** Ids of the practice sites that it has raised. */
  sites(): readonly string[] {
    return sitesOfProcess(this.child.pid ?? 0).map(({ id }) => id);
  }
}

/** Names of this machine's interfaces, by the kernel. */
const interfaces = (): string[] =>
  readFileSync("/proc/net/dev", "utf8")
    .split("\n")
    .slice(2)
    .map((line) => line.split(":")[0]?.trim() ?? "")
    .toSorted();

test(
  "npm start: given this machine, then it names the faulty segment, and Ctrl-C leaves nothing within 5 s",
  () =>
    inTurn(async () => {
      const interfacesBefore = interfaces();
      const start = new Program([path.join(ROOT, "deploy/start.mjs")]);
      await start.until("stand until you press Ctrl-C", 120_000);
      const sites = start.sites();
      expect(sites).toHaveLength(1);
      expect(start.printed).toMatch(/STOPS {2}board stops between core:1 and pier-east:24/);
      expect(start.printed).toMatch(/suspects\s+core:1>pier-east:24/);
      expect(start.printed).toMatch(/From nothing to this answer: [0-9.]+ s/);
      const pressedMs = Date.now();
      start.child.kill("SIGINT");
      expect(await start.exit()).toBe(0);
      expect(Date.now() - pressedMs).toBeLessThan(5000);
      expect(interfaces()).toEqual(interfacesBefore);
      expect(findPracticeSites().filter(({ id }) => sites.includes(id))).toEqual([]);
    }),
  300_000,
);

describe("dyetrace practice up", () => {
  let up: Program;
  let url: string;
  const at = (...argv: string[]) => spawnSync(process.execPath, [DYETRACE, ...argv], { cwd: ROOT, encoding: "utf8" });

  beforeAll(async () => {
    await inTurn(async () => {
      up = new Program([DYETRACE, "practice", "up", PLAN, "--fault", path.join(DEMO, "fault-pier-east.yaml")]);
      await up.until("\nready\n", 120_000);
    });
    url = /answers at (\S+)\. Ctrl-C/.exec(up.printed)?.[1] ?? "";
  });
  afterAll(async () => {
    up.child.kill("SIGTERM");
    await up.exit();
  });

  test("given a standing fault, then `run` fails; once it is lifted, the same run passes", () => {
    const broken = at("run", REACH, "--site", PLAN, "--controller", url, "--json", "-");
    expect(broken.status).toBe(1);
    const report = JSON.parse(broken.stdout);
    expect(report.findings.map((finding: { kind: string }) => finding.kind)).toEqual(["stops"]);
    expect(Schema.Compile(RunReportSchema).Check(report)).toBe(true);
    expect(at("practice", "faults", "lift", "--controller", url).status).toBe(0);
    const whole = at("run", REACH, "--site", PLAN, "--controller", url, "--against", "last", "--until-decided");
    expect(whole.status, whole.stdout + whole.stderr).toBe(0);
    expect(whole.stdout).toMatch(/Better/);
  });

  test("given a battery that was kept, then unchanged it is the same; with the fault back it is worse, with its place; names of test cases stay", () => {
    const files = mkdtempSync(path.join(tmpdir(), "dyetrace-battery-"));
    const check = (...argv: string[]) => at("upgrade-check", PLAN, ...argv, "--controller", url);
    const short = ["--only", "reach,containment", "--set", "length=5s", "--set", "hold=4s"];
    const kept = check("--keep", "fw-7", "--source", "tower", ...short);
    expect(kept.status, kept.stderr).toBe(0);
    expect(kept.stderr).toContain("2 scenarios, about");
    const names = at("baseline", "list", "--controller", url).stdout;
    expect(names).toMatch(/^fw-7\.containment .*\nfw-7\.reach /);
    const decides = ["--until-decided", "--at-most", "30 s"]; // one round
    const again = check("--against", "fw-7", ...decides, "--junit", path.join(files, "again.xml"));
    expect(again.status, again.stdout + again.stderr).toBe(0);
    expect(again.stdout).toContain("All 2 scenarios went as before.");
    const put = ["practice", "faults", "put", path.join(DEMO, "fault-pier-east.yaml"), "--controller", url];
    expect(at(...put).status).toBe(0);
    const broken = check(
      "--against",
      "fw-7",
      "--junit",
      path.join(files, "broken.xml"),
      "--html",
      path.join(files, "page.html"),
    );
    expect(broken.status, broken.stdout + broken.stderr).toBe(1);
    expect(broken.stdout).toMatch(/reach +worse .*core:1>pier-east:24/);
    expect(readFileSync(path.join(files, "page.html"), "utf8")).toContain("core:1&gt;pier-east:24");
    const losses = (file: string) => readFileSync(path.join(files, file), "utf8").match(/name="loss board [^"]*"/g);
    expect(losses("broken.xml")).toEqual(losses("again.xml"));
    expect(at("practice", "faults", "lift", "--controller", url).status).toBe(0);
    rmSync(files, { recursive: true });
  });

  test("given stored runs, then they are tagged, noted, found, copied and deleted; one with a name stays", () => {
    const files = mkdtempSync(path.join(tmpdir(), "dyetrace-runs-"));
    const ask = (...argv: string[]) => at(...argv, "--controller", url);
    const [{ runId = "" } = {}] = JSON.parse(ask("runs", "--json", "--most", "1").stdout) as { runId?: string }[];
    expect(ask("runs", "tag", "last", "spring", "core").status).toBe(0);
    expect(ask("runs", "note", "last", "with", "the", "old", "cable").status).toBe(0);
    expect(ask("runs", "--tag", "spring").stdout).toMatch(
      new RegExp(`^${runId} .*tag:core {2}tag:spring {2}"with the old cable"\n$`),
    );
    expect(ask("runs", "tag", "last", "no tag").stderr).toContain('"no tag" can\'t be a tag');
    const copy = path.join(files, "runs.sqlite");
    expect(ask("backup", copy).stdout).toContain("holds all runs");
    expect(ask("backup", copy).stderr).toContain("There is a file");
    const data = path.join(files, "data");
    mkdirSync(data);
    expect(at("restore", copy, "--data", data).stdout).toMatch(/has \d+ runs now/);
    expect(at("runs", "--tag", "core", "--data", data).stdout).toContain(runId);
    expect(at("runs", "--data", path.join(files, "mistyped")).stderr).toMatch(
      /There is no store in .*\[STORE_MISSING\]/,
    );
    expect(ask("baseline", runId, "spring").status).toBe(0);
    expect(ask("runs", "remove", runId).stderr).toContain("baseline:spring");
    expect(ask("baseline", "remove", "spring").status).toBe(0);
    expect(ask("runs", "remove", runId).stdout).toContain("is deleted");
    expect(ask("report", runId).stderr).toContain("There is no run");
    rmSync(files, { recursive: true });
  });

  test("given a command for a node, then `practice exec` runs it there and passes its exit code on", () => {
    const [id = ""] = up.sites();
    const links = at("practice", "exec", "--site", id, "core", "--", "ip", "-o", "link");
    expect(links.status, links.stderr).toBe(0);
    expect(links.stdout).toContain("br0");
    expect(links.stdout).toContain("p1");
    expect(at("practice", "exec", "--site", id, "core", "--", "sh", "-c", "exit 7").status).toBe(7);
    const unknown = at("practice", "exec", "--site", id, "cellar", "--", "true");
    expect(unknown.status).toBe(2);
    expect(unknown.stderr).toContain("cellar");
  });

  test("given a signal while a command runs in a node, then `practice exec` passes it on inside, and how the command ends is its own end", async () => {
    const [id = ""] = up.sites();
    const waits = "trap 'echo asked; exit 9' TERM; trap 'echo pressed; exit 8' INT; echo begun; sleep 60 & wait";
    const ends = await Promise.all(
      (["SIGTERM", "SIGINT"] as const).map(async (signal) => {
        const exec = new Program([DYETRACE, "practice", "exec", "--site", id, "core", "--", "sh", "-c", waits]);
        await exec.until("begun", 60_000);
        exec.child.kill(signal);
        return [await exec.exit(), exec.printed.trim().split("\n").at(-1)];
      }),
    );
    expect(ends).toEqual([
      [9, "asked"],
      [8, "pressed"],
    ]);
  });

  test("given faults that are hidden, then nobody is told which until they are revealed; the same seed draws the same; lifted, none is left", () => {
    const faults = (...words: string[]) => {
      const said = at("practice", "faults", ...words, "--controller", url, "--json");
      expect(said.status, said.stderr).toBe(0);
      return JSON.parse(said.stdout);
    };
    const hide = ["hide", "--count", "2", "--seed", "4711", "--source", "tower"];
    expect(faults(...hide)).toEqual({ seed: 4711, hidden: 2, standing: [] });
    expect(faults("standing")).toEqual({ standing: [], hidden: 2 });
    const first = faults("reveal");
    expect(first.revealed).toHaveLength(2);
    expect(first.standing).toEqual(first.revealed);
    expect(faults("lift")).toEqual({ standing: [], hidden: 0 });
    faults(...hide);
    const places = (told: { revealed: { fault: string; on: string }[] }) =>
      told.revealed.map(({ fault, on }) => `${fault} ${on}`);
    expect(places(faults("reveal"))).toEqual(places(first));
    expect(faults("lift")).toEqual({ standing: [], hidden: 0 });
  });
});

describe("mistakes in files", () => {
  const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-mistakes-"));
  afterAll(() => rmSync(folder, { recursive: true }));
  /** No other site on this machine has that name. */
  const siteName = `Quillfen Mistakes ${process.pid}`;
  const plan = readFileSync(PLAN, "utf8").replace("Quillfen Ferry Terminal", siteName);
  const reach = readFileSync(REACH, "utf8");
  const fault = readFileSync(path.join(DEMO, "fault-pier-east.yaml"), "utf8");
  const mistakes: readonly (readonly [
    what: string,
    kind: "plan" | "scenario" | "fault",
    text: string | Buffer,
    says: RegExp,
  ])[] = [
    [
      "unknown node",
      "plan",
      plan.replace("pier-east:24]", "pier-est:24]"),
      /plan\.yaml:\d+:\d+: No node is called "pier-est"/,
    ],
    ["port used twice", "plan", plan.replace("core:2,", "core:1,"), /plan\.yaml:\d+:\d+: .*core:1/],
    [
      "island",
      "plan",
      plan.replace("  tablet: { kind: host }", "  tablet: { kind: host }\n  shed: { kind: host }"),
      /plan\.yaml:\d+:\d+: .*shed/,
    ],
    ["duplicate key", "plan", plan.replace("  hall: {", "  core: {"), /plan\.yaml:\d+:\d+: /],
    ["tab indentation", "plan", plan.replace("  hall: {", "\thall: {"), /plan\.yaml:\d+:1: .*tab/],
    ["empty file", "plan", "", /plan\.yaml:1:1: This file is empty/],
    ["binary file", "plan", Buffer.from([0x7f, 0x45, 0x4c, 0x46, 0, 1, 2, 0xff]), /plan\.yaml:1:1: .*UTF-8/],
    ["unknown kind", "plan", plan.replace("kind: unmanaged", "kind: hub"), /plan\.yaml:\d+:\d+: /],
    ["bad speed unit", "plan", plan.replace("100 Mbit/s", "100 Mbps"), /plan\.yaml:\d+:\d+: .*Mbps/],
    [
      "two queriers",
      "plan",
      plan.replace("hall: { kind: switch }", "hall: { kind: switch, querier: true }"),
      /plan\.yaml:\d+:\d+: /,
    ],
    ["bad rate unit", "scenario", reach.replace("2 Mbit/s", "2 mbit"), /scenario\.yaml:\d+:\d+: .*2 mbit/],
    [
      "group outside multicast",
      "scenario",
      reach.replace("239.195.10.4", "192.0.2.4"),
      /scenario\.yaml:\d+:\d+: .*192\.0\.2\.4/,
    ],
    [
      "two streams of one name",
      "scenario",
      reach.replace("timeline:", "  - { name: board, source: tower, group: 239.195.10.5, rate: 1 Mbit/s }\ntimeline:"),
      /scenario\.yaml:\d+:\d+: .*board/,
    ],
    ["unknown agent", "scenario", reach.replace("source: tower", "source: towr"), /scenario\.yaml:\d+:\d+: .*towr/],
    ["unknown stream", "scenario", reach.replace("emit: board", "emit: bord"), /scenario\.yaml:\d+:\d+: .*bord/],
    ["broken syntax", "scenario", reach.replace("streams:", "streams: ["), /scenario\.yaml:\d+:\d+: /],
    ["unknown fault", "fault", fault.replace("fault: drop", "fault: dropp"), /fault\.yaml:\d+:\d+: /],
    ["unknown place", "fault", fault.replace("core:1>pier-east:24", "core:1>pier-east:23"), /fault\.yaml:\d+:\d+: /],
    ["share over the whole", "fault", fault.replace("100 %", "120 %"), /fault\.yaml:\d+:\d+: .*120 %/],
  ];

  const argv = ["practice", "run", "plan.yaml", "scenario.yaml", "--fault", "fault.yaml"];
  type Ended = Pick<SpawnSyncReturns<string>, "status" | "stdout" | "stderr">;
  let ended: readonly Ended[] = [];
  beforeAll(() => {
    const orders = mistakes.map(([what, kind, text]) => {
      const cwd = path.join(folder, what);
      mkdirSync(cwd);
      const files = { plan, scenario: reach, fault, [kind]: text };
      for (const [name, content] of Object.entries(files)) writeFileSync(path.join(cwd, `${name}.yaml`), content);
      return { cwd, argv };
    });
    const shipped = path.join(ROOT, "controller/scenarios/reach.yaml");
    const values = ["--set", "source=tower", "--set", "length=1s"];
    orders.push({ cwd: folder, argv: ["plan", "check", PLAN, "--scenario", shipped, ...values] });
    const programs = path.join(ROOT, "tests/field/run-programs.mjs");
    const { stdout } = spawnSync(process.execPath, [programs], { input: JSON.stringify(orders), encoding: "utf8" });
    ended = JSON.parse(stdout);
  });
  const expectToldOff = ({ status, stdout, stderr }: Ended, says: RegExp): void => {
    expect(status).toBe(2);
    expect(stdout).toBe("");
    expect(stderr.split("\n")[0]).toMatch(says);
    expect(stderr).not.toContain("built ");
    expect(findPracticeSites().filter(({ name }) => name === siteName)).toEqual([]);
  };

  test.each(mistakes.map((mistake, index) => [...mistake, index] as const))(
    "given %s in a %s, then exit 2, one sentence with its place, and nothing is started",
    (_what, _kind, _text, says, index) => {
      const result = ended[index];
      if (result === undefined) throw new Error("it was not run");
      expectToldOff(result, says);
    },
  );

  test("given a mistake, then the program by itself ends as it does among others", () => {
    const [[what, , , says] = ["", "plan", "", /never/] as const] = mistakes;
    const cwd = path.join(folder, what);
    expectToldOff(spawnSync(process.execPath, [DYETRACE, ...argv], { cwd, encoding: "utf8" }), says);
  });

  test("plan check: given a shipped scenario with its values, then it says what a run of it could not decide", () => {
    const check = ended[mistakes.length];
    expect(check?.status).toBe(0);
    // 1 s of 2 Mbit/s is 189 packets; 299 without a loss show less than 1 % (0.99^299 < 5 %).
    expect(check?.stdout).toContain("189 packets of board");
    expect(check?.stdout).toContain("299 packets decide it");
  });
});
