import { randomInt } from "node:crypto";
import { chooseStandingSite, controllerOfSite, findPracticeSites } from "@dyetrace/practice";
import { formatCount, PRACTICE_FAULT_KINDS } from "@dyetrace/wire";
import type { StandingFault, StandingFaults } from "@dyetrace/wire/console/practice-faults";
import { type Command, InvalidArgumentError } from "commander";
import { readUserFile } from "../arguments/read-user-file.ts";
import { type AskOptions, clientOf, withAskOptions } from "../client/ask-options.ts";
import type { ControllerClient } from "../client/controller-client.ts";

type SiteOptions = AskOptions & { readonly site?: string; readonly json?: boolean };
interface HideOptions extends SiteOptions {
  readonly count: number;
  readonly seed?: number;
  readonly source?: string;
}

const SEEDS = 2 ** 32;
const MOST_HIDDEN = 5;

/** `dyetrace practice faults`: into the standing site and out of it, also such that nobody is told of. */
export function registerPracticeFaults(practice: Command): void {
  const faults = practice.command("faults").description("Faults of the standing practice site.");
  faults
    .command("list")
    .description("The kinds of fault that a file may put in, where each goes, and what it does.")
    .option("--json", "as JSON")
    .action(listFaultKinds);
  withSite(faults.command("standing").description("Which faults stand, and how many stand hidden.")).action(
    async (options: SiteOptions) => {
      const { standing, hidden } = await clientOfSite(options).ask("readPractice");
      tellStanding({ standing, hidden }, options);
    },
  );
  withSite(
    faults.command("put").description("Put the faults of a file in.").argument("<file>", "fault file (YAML)"),
  ).action(async (file: string, options: SiteOptions) => {
    const text = readUserFile(file).toString("utf8");
    tellStanding(await clientOfSite(options).ask("putPracticeFaults", { body: { file, text } }), options);
  });
  withSite(faults.command("lift").description("Take every fault out again, hidden ones too.")).action(
    async (options: SiteOptions) => tellStanding(await clientOfSite(options).ask("liftPracticeFaults"), options),
  );
  withSite(
    faults
      .command("hide")
      .description(
        "For training: put faults in that are drawn by chance, and tell nobody which. `reveal` tells, `lift` takes them out.",
      )
      .option("--count <number>", `how many, 1 to ${MOST_HIDDEN}, each of another kind`, wholeFrom(1, MOST_HIDDEN), 1)
      .option(
        "--seed <number>",
        "the same number draws the same faults on the same plan (default: drawn, and said)",
        wholeFrom(0, SEEDS - 1),
      )
      .option("--source <agent>", "who will send: faults then lie on the ways from it (default: anybody)"),
  ).action(hide);
  withSite(faults.command("reveal").description("Tell which faults were hidden.")).action(
    async (options: SiteOptions) => {
      const answer = await clientOfSite(options).ask("revealPracticeFaults");
      if (options.json === true) print(answer);
      else if (answer.revealed.length === 0) process.stdout.write("No fault was hidden.\n");
      else for (const one of answer.revealed) process.stdout.write(`${describe(one)}\n`);
    },
  );
}

const withSite = (command: Command): Command =>
  withAskOptions(command)
    .option("--site <name>", "which one, if several stand: its id or name")
    .option("--json", "the answer as JSON");

/** Of the site that stands on this machine, wherever its controller listens, unless another controller is named. */
function clientOfSite({ site, ...options }: SiteOptions): ControllerClient {
  if (options.controller !== undefined) return clientOf(options);
  const sites = findPracticeSites();
  if (sites.length === 0 && site === undefined) return clientOf(options);
  const controller = controllerOfSite(chooseStandingSite(sites, site ?? null));
  return clientOf(controller === null ? options : { ...options, controller });
}

function listFaultKinds({ json }: { json?: boolean }): void {
  if (json === true) print(PRACTICE_FAULT_KINDS);
  else
    for (const { fault, on, does } of PRACTICE_FAULT_KINDS) process.stdout.write(`${fault}\n  on: ${on}\n  ${does}\n`);
}

async function hide(options: HideOptions): Promise<void> {
  const { count, seed = randomInt(SEEDS), source } = options;
  const body = { count, seed, ...(source === undefined ? {} : { source }) };
  const { standing, hidden } = await clientOfSite(options).ask("hidePracticeFaults", { body });
  if (options.json === true) {
    print({ seed, hidden, standing });
    return;
  }
  process.stdout.write(`${sayHidden(hidden)}, drawn with --seed ${seed}.\n`);
  process.stdout.write("`dyetrace practice faults reveal` says which, `lift` takes them out.\n");
}

function tellStanding(answer: StandingFaults, { json }: SiteOptions): void {
  if (json === true) {
    print(answer);
    return;
  }
  for (const one of answer.standing) process.stdout.write(`${describe(one)}\n`);
  if (answer.hidden > 0) process.stdout.write(`${sayHidden(answer.hidden)}.\n`);
  if (answer.standing.length + answer.hidden === 0) process.stdout.write("No fault stands.\n");
}

const print = (value: unknown): void => void process.stdout.write(`${JSON.stringify(value, null, 2)}\n`);

const describe = ({ fault, on, with: more }: StandingFault): string =>
  `${fault} on ${on}${more === "" ? "" : `: ${more}`}`;

const sayHidden = (count: number): string =>
  count === 1 ? "1 fault stands hidden" : `${formatCount(count)} faults stand hidden`;

const wholeFrom =
  (least: number, most: number) =>
  (text: string): number => {
    const number = Number(text);
    if (/^[0-9]+$/.test(text) && number >= least && number <= most) return number;
    throw new InvalidArgumentError(`Write a whole number from ${least} to ${most}.`);
  };
