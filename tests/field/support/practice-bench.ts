import { readFileSync } from "node:fs";
import { setTimeout as sleep } from "node:timers/promises";
import { ControllerClient, type PracticeSetup, raisePractice, type StandingPractice } from "@dyetrace/controller";
import {
  type FaultPlay,
  loadPracticeFaults,
  type PracticeFault,
  type PracticeSite,
  playPracticeFaults,
} from "@dyetrace/practice";
import { loadSitePlan, type SiteGraph } from "@dyetrace/site";
import type { RunProgress, RunReport, RunRequest } from "@dyetrace/wire";
import { inTurn } from "./in-turn.ts";
import { QUICK_TIMERS } from "./quick-timers.ts";

const CONNECTED_WITHIN_MS = 30_000;

/** A scenario that the controller ships, by its name. */
export const shippedScenario = (name: string): string =>
  readFileSync(new URL(`../../../controller/scenarios/${name}.yaml`, import.meta.url), "utf8");

/** A shipped scenario with a second stream beside its own, to an IPv6 group: board-4 and board-6 do the same at the same time. */
export const inBothFamilies = (scenario: string): string =>
  scenario
    .replace(
      /( +- \{ name: )board,(.*)group: \$group(.*)/,
      '$1board-4,$2group: $group$3\n$1board-6,$2group: "ff15::8000:4"$3',
    )
    .replaceAll(/: board([ ,}])/g, ": all$1");

export interface BenchRun {
  /** The file's text, or one entry a string: `snooping-off, on: core`. */
  readonly faults?: string | readonly string[];
  /** As `--set name=value` gives them. */
  readonly parameters?: Readonly<Record<string, string>>;
  readonly despite?: RunRequest["despite"];
  readonly keepsHeaders?: boolean;
  /** The site plan's text that the run goes by, where that is not the one that the site was built from. */
  readonly plan?: string;
  readonly onProgress?: (progress: RunProgress) => void;
  /** False: the test has left the site in a state from which it does not recover, and does not use it again. */
  readonly isUsedAgain?: boolean;
}

/** A practice site with its controller and agents, on which one scenario after another can be run. */
export interface PracticeBench extends AsyncDisposable {
  readonly practice: StandingPractice;
  readonly site: PracticeSite;
  readonly client: ControllerClient;
  /**
   * Puts the faults in, runs the scenario, takes the faults out again and waits until every switch snoops as built.
   * @param scenario the file's text @throws {Fault} what a user would be told
   */
  run(scenario: string, options?: BenchRun): Promise<RunReport>;
}

export type BenchSetup = Pick<
  PracticeSetup,
  "timers" | "firstSource" | "safety" | "launchers" | "routing" | "switchesTalk"
>;

/** @param plan the site plan's text */
export async function raiseBench(plan: string, setup: BenchSetup = {}): Promise<PracticeBench> {
  const graph = loadSitePlan(plan, "plan.yaml");
  const words: string[] = [];
  const practice = await inTurn(() =>
    raisePractice({
      ...setup,
      graph,
      listen: { host: "127.0.0.1", port: 0 },
      timers: { ...QUICK_TIMERS, ...setup.timers },
      log: (sentence) => words.push(sentence),
    }),
  ).catch((cause: unknown) => {
    throw new Error(`The practice site did not come up. Its words: ${words.join(" | ")}`, { cause });
  });
  const { site } = practice;
  const client = new ControllerClient(practice.controller.url);

  const run = async (scenario: string, options: BenchRun = {}): Promise<RunReport> => {
    const {
      faults = [],
      parameters = {},
      despite = [],
      keepsHeaders = false,
      onProgress,
      isUsedAgain = true,
    } = options;
    const all = faults.length === 0 ? [] : loadPracticeFaults(faultFile(faults), "faults.yaml", graph);
    const standing = all.filter((fault) => fault.atMs === null);
    const timed = all.filter((fault) => fault.atMs !== null);
    await everyAgent(practice, graph);
    await site.inject(standing);
    const play = new Timetable(site, timed);
    try {
      return await follow(
        client,
        { scenario, plan: options.plan ?? plan, parameters, despite, keepsHeaders },
        (progress) => {
          if (progress.kind === "go") play.start(progress.startsInMs);
          onProgress?.(progress);
        },
      );
    } finally {
      await play.stop();
      await site.lift(standing);
      if (all.length > 0 && isUsedAgain) await site.settled();
    }
  };
  return { practice, site, client, run, [Symbol.asyncDispose]: () => practice[Symbol.asyncDispose]() };
}

/** On a machine that other sites keep busy an agent may lose its controller for a moment between two runs. */
async function everyAgent({ controller }: StandingPractice, graph: SiteGraph): Promise<void> {
  const names = [...graph.nodes.values()].flatMap(({ agent }) => agent ?? []);
  const deadlineMs = performance.now() + CONNECTED_WITHIN_MS;
  for (;;) {
    const missing = names.filter((name) => controller.registry.find(name) === undefined);
    if (missing.length === 0) return;
    if (performance.now() > deadlineMs) throw new Error(`Not connected: ${missing.join(", ")}`);
    await sleep(50);
  }
}

const faultFile = (faults: string | readonly string[]): string =>
  typeof faults === "string" ? faults : `faults:\n${faults.map((entry) => `  - { fault: ${entry} }`).join("\n")}\n`;

interface RunTexts {
  readonly scenario: string;
  readonly plan: string;
  readonly parameters: Readonly<Record<string, string>>;
  readonly despite: NonNullable<RunRequest["despite"]>;
  readonly keepsHeaders: boolean;
}

async function follow(
  client: ControllerClient,
  { scenario, plan, parameters, despite, keepsHeaders }: RunTexts,
  onProgress: (progress: RunProgress) => void,
): Promise<RunReport> {
  const runId = await client.startRun({
    scenario: { file: "scenario.yaml", text: scenario },
    site: { file: "plan.yaml", text: plan },
    parameters: { ...parameters },
    despite,
    keepsHeaders,
  });
  for await (const progress of client.followRun(runId)) {
    onProgress(progress);
    if (progress.kind === "done") return progress.report;
    if (progress.kind === "failed") throw new Error(`${progress.code}: ${progress.message}. ${progress.hint}`);
  }
  throw new Error("The controller ended the run's progress without a report");
}

/** Faults with times: they count from the run's start, and are out again when the run is over. */
class Timetable {
  readonly #site: PracticeSite;
  readonly #faults: readonly PracticeFault[];
  #start: Promise<FaultPlay> | null = null;

  constructor(site: PracticeSite, faults: readonly PracticeFault[]) {
    this.#site = site;
    this.#faults = faults;
  }

  start(inMs: number): void {
    this.#start = new Promise((resolve, reject) => {
      setTimeout(() => void playPracticeFaults(this.#site, this.#faults).then(resolve, reject), inMs);
    });
  }

  async stop(): Promise<void> {
    await (await this.#start)?.stop();
  }
}
