import {
  chooseStandingSite,
  controllerOfSite,
  execInPracticeSite,
  findPracticeSites,
  loadPracticeFaults,
  type MulticastRouting,
  type PracticeFault,
  playPracticeFaults,
} from "@dyetrace/practice";
import { loadSitePlan, type SiteGraph } from "@dyetrace/site";
import { describeFault, Fault, PRACTICE_FAULT_KINDS } from "@dyetrace/wire";
import { type Command, Option } from "commander";
import { openStore } from "../store/store.ts";
import { DEFAULT_CONTROLLER_URL } from "./arguments/default-controller-url.ts";
import { defaultOrFreePort } from "./arguments/default-port.ts";
import { EXIT } from "./arguments/exit-codes.ts";
import { parseListen } from "./arguments/parse-listen.ts";
import { readUserFile } from "./arguments/read-user-file.ts";
import { storePlace } from "./arguments/store-place.ts";
import { untilInterrupted } from "./arguments/until-interrupted.ts";
import { type AskOptions, clientOf, withAskOptions } from "./client/ask-options.ts";
import { ControllerClient } from "./client/controller-client.ts";
import { deliverReport, followRun } from "./client/follow-run.ts";
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
  const faults = practice.command("faults").description("Faults of the standing practice site.");
  faults
    .command("list")
    .description("The kinds of fault that a file may put in, where each goes, and what it does.")
    .option("--json", "as JSON")
    .action(listFaultKinds);
  withSite(
    faults.command("put").description("Put the faults of a file in.").argument("<file>", "fault file (YAML)"),
  ).action(async (file: string, options: SiteOptions) => {
    const text = readUserFile(file).toString("utf8");
    await clientOfSite(options).ask("putPracticeFaults", { body: { file, text } });
  });
  withSite(faults.command("lift").description("Take every fault out again.")).action(async (options: SiteOptions) => {
    await clientOfSite(options).ask("liftPracticeFaults");
  });
}

type SiteOptions = AskOptions & { readonly site?: string };

const withSite = (command: Command): Command =>
  withAskOptions(command).option("--site <name>", "which one, if several stand: its id or name");

/** Of the site that stands on this machine, wherever its controller listens, unless another controller is named. */
function clientOfSite({ site, ...options }: SiteOptions): ControllerClient {
  if (options.controller !== undefined) return clientOf(options);
  const sites = findPracticeSites();
  if (sites.length === 0 && site === undefined) return clientOf(options);
  const controller = controllerOfSite(chooseStandingSite(sites, site ?? null));
  return clientOf(controller === null ? options : { ...options, controller });
}

function listFaultKinds({ json }: { json?: boolean }): void {
  if (json === true) process.stdout.write(`${JSON.stringify(PRACTICE_FAULT_KINDS, null, 2)}\n`);
  else
    for (const { fault, on, does } of PRACTICE_FAULT_KINDS) process.stdout.write(`${fault}\n  on: ${on}\n  ${does}\n`);
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
