import {
  chooseStandingSite,
  execInPracticeSite,
  findPracticeSites,
  loadPracticeFaults,
  type MulticastRouting,
  type PracticeFault,
  playPracticeFaults,
} from "@dyetrace/practice";
import { loadSitePlan, type SiteGraph } from "@dyetrace/site";
import { describeFault, Fault } from "@dyetrace/wire";
import { type Command, Option } from "commander";
import { openStore } from "../store/store.ts";
import { DEFAULT_CONTROLLER_URL } from "./arguments/default-controller-url.ts";
import { defaultOrFreePort } from "./arguments/default-port.ts";
import { EXIT } from "./arguments/exit-codes.ts";
import { parseListen } from "./arguments/parse-listen.ts";
import { readUserFile } from "./arguments/read-user-file.ts";
import { storePlace } from "./arguments/store-place.ts";
import { untilInterrupted } from "./arguments/until-interrupted.ts";
import { ControllerClient } from "./client/controller-client.ts";
import { deliverReport, followRun } from "./client/follow-run.ts";
import { registerPracticeFaults } from "./practice/practice-faults.ts";
import { sayHowToProbe } from "./probe.ts";
import { collect, readRunFiles, tellUndecidable } from "./run.ts";
import { raisePractice } from "./standing-practice.ts";

const say = (sentence: string): void => void process.stderr.write(`${sentence}\n`);

export function registerPractice(program: Command): void {
  const practice = program
    .command("practice")
    .enablePositionalOptions()
    .description("A site plan built on this machine from network namespaces and kernel bridges.");
  practice
    .command("up")
    .description("Build the site, start its agents and a controller, and stay until interrupted.")
    .argument("<plan>", "site plan (YAML)")
    .option("--fault <file>", "put the faults of this file in; may be given again", collect, [])
    .addOption(routingOption())
    .option(TALK_OPTION, TALK_WORDS)
    .option(
      "--listen <address>",
      "where the controller listens (default: 127.0.0.1:8472, or a free port if that is taken)",
    )
    .action(practiceUp);
  practice
    .command("exec")
    .description(
      "Run a command inside a node of the standing practice site, for example: practice exec core -- bridge mdb show",
    )
    .argument("<node>")
    .argument("<command...>")
    .option("--site <name>", "which one, if several stand")
    .passThroughOptions()
    .action(async (node: string, command: string[], options: { site?: string }) => {
      const site = chooseStandingSite(findPracticeSites(), options.site ?? null);
      // The parser hands on the `--` that keeps the command's own options apart.
      const argv = command[0] === "--" ? command.slice(1) : command;
      process.exitCode = await execInPracticeSite(site, node, argv);
    });
  practice
    .command("run")
    .description("Build the site, put the faults in, run the scenario, report, and take everything down.")
    .argument("<plan>", "site plan (YAML)")
    .argument("<scenario>", "scenario file (YAML)")
    .option("--fault <file>", "put the faults of this file in; may be given again", collect, [])
    .addOption(routingOption())
    .option(TALK_OPTION, TALK_WORDS)
    .option("--set <name=value>", "replace one of the scenario's parameters; may be given again", collect, [])
    .option("--json <file>", "write the report as JSON; - for standard output")
    .option("--junit <file>", "write the report as test cases for a CI system")
    .option("--data <folder>", "keep the run in this folder, for `report` and `compare`")
    .action(practiceRun);
  registerPracticeFaults(practice);
}

/** A fresh one for each command. */
const routingOption = (): Option =>
  new Option("--routing <how>", "how the site's routers learn what to forward").choices(["memberships", "pim-sparse"]);

const TALK_OPTION = "--switches-talk";
const TALK_WORDS =
  "switches, routers and access points announce themselves (LLDP) and can be asked for their tables (SNMP); " +
  "needs root and Debian's lldpd and snmpd";

const readFaults = (files: readonly string[], graph: SiteGraph): PracticeFault[] =>
  files.flatMap((file) => loadPracticeFaults(readUserFile(file), file, graph));

async function practiceUp(
  plan: string,
  options: { fault: string[]; listen?: string; routing?: MulticastRouting; switchesTalk?: boolean },
): Promise<void> {
  const text = readUserFile(plan).toString("utf8");
  const graph = loadSitePlan(text, plan);
  const faultFiles = options.fault.map((file) => ({
    file,
    text: readUserFile(file).toString("utf8"),
  }));
  readFaults(options.fault, graph); // a mistake is told before anything is built
  using interrupt = untilInterrupted();
  await using standing = await raisePractice({
    graph,
    plan: { file: plan, text },
    listen: options.listen === undefined ? await defaultOrFreePort() : parseListen(options.listen),
    log: say,
    signal: interrupt.signal,
    ...(options.routing === undefined ? {} : { routing: options.routing }),
    ...(options.switchesTalk === undefined ? {} : { switchesTalk: options.switchesTalk }),
  });
  const client = new ControllerClient(standing.controller.url);
  for (const file of faultFiles) await client.ask("putPracticeFaults", { body: file });
  const { url } = standing.controller;
  const add = url === DEFAULT_CONTROLLER_URL ? "" : ` Add --controller ${url} to the commands that ask it.`;
  say(`The controller answers at ${url}.${add} Ctrl-C takes everything down.`);
  process.stdout.write("ready\n");
  await Promise.race([interrupt.pressed, siteLost(standing.site.closed)]);
}

/** @throws {Fault} PRACTICE_FAILED if the site goes away by itself */
async function siteLost(closed: Promise<string | null>): Promise<never> {
  const reason = await closed;
  throw new Fault("PRACTICE_FAILED", `The practice site went away: ${reason ?? "it was closed"}`, "");
}

interface PracticeRunOptions {
  readonly fault: string[];
  readonly routing?: MulticastRouting;
  readonly switchesTalk?: boolean;
  readonly set: string[];
  readonly json?: string;
  readonly junit?: string;
  readonly data?: string;
}

async function practiceRun(plan: string, scenarioFile: string, options: PracticeRunOptions): Promise<void> {
  const { request, graph, scenario } = readRunFiles(plan, scenarioFile, options.set);
  tellUndecidable(scenario, graph);
  const faults = readFaults(options.fault, graph);
  await using store = await openStore(storePlace(options));
  using interrupt = untilInterrupted();
  const firstSource = scenario.streams[0]?.source;
  await using practice = await raisePractice({
    graph,
    listen: { host: "127.0.0.1", port: 0 },
    log: say,
    signal: interrupt.signal,
    store,
    ...(firstSource === undefined ? {} : { firstSource }),
    ...(options.routing === undefined ? {} : { routing: options.routing }),
    ...(options.switchesTalk === undefined ? {} : { switchesTalk: options.switchesTalk }),
  });
  const { site, controller } = practice;
  const standing = faults.filter((fault) => fault.atMs === null);
  await site.inject(standing);
  // Standing faults are in before anyone joins; the others count from the run's start.
  const timed = faults.filter((fault) => fault.atMs !== null);
  const onGo = (startsInMs: number): void => {
    setTimeout(() => {
      playPracticeFaults(site, timed, (error) => say(error instanceof Fault ? describeFault(error) : String(error)));
    }, startsInMs);
  };
  const report = await followRun(new ControllerClient(controller.url), request, { onGo, signal: interrupt.signal });
  deliverReport(report, graph, options);
  if (options.json !== "-")
    process.stdout.write(
      sayHowToProbe(
        report,
        `This site is down again. On one that stands (\`dyetrace practice up ${plan}\`, with the same faults) \`dyetrace run\` and then \`dyetrace probe last\` part them.`,
      ),
    );
  process.exitCode = EXIT[report.verdict];
}
