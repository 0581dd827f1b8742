import { Fault, parseDurationNs, type Verdict } from "@dyetrace/wire";
import { type MarkChange, type RunQuery, TAG_FORM } from "@dyetrace/wire/console/stored-run";
import type { Command } from "commander";
import { paintFor } from "../report/terminal-paint.ts";
import { renderBaselines, renderMatrix, renderRuns, renderTrends } from "../report/terminal-runs.ts";
import { type LibraryOptions, openLibrary, type RunLibrary, withLibraryOptions } from "./client/run-library.ts";
import { noteDeed } from "./with-book.ts";

interface ListOptions extends LibraryOptions {
  readonly most: number;
  readonly site?: string;
  readonly scenario?: string;
  readonly verdict?: string;
  readonly tag?: string;
  readonly since?: number;
  readonly json?: boolean;
}

interface DoneOptions extends LibraryOptions {
  readonly json?: boolean;
}

const VERDICTS: readonly Verdict[] = ["pass", "fail", "inconclusive", "could-not-run"];

/** `dyetrace runs`: what is stored; its notes, tags and removal. */
export function registerRuns(program: Command): void {
  const runs = withLibraryOptions(
    program
      .command("runs")
      .description("The runs that are stored, newest first.")
      .option("--most <number>", "how many to list", readMost, 20)
      .option("--site <name>", "only runs of this site")
      .option("--scenario <name>", "only runs of this scenario")
      .option("--verdict <word>", `only runs with this verdict: ${VERDICTS.join(", ")}`)
      .option("--tag <tag>", "only runs with this tag")
      .option("--since <time>", "only runs of the last hours or days, for example `7 d`", parseDurationNs)
      .option("--json", "as JSON"),
  ).action(async (options: ListOptions) => {
    await using library = await openLibrary(options);
    const found = await library.list(queryOf(options, Date.now()));
    process.stdout.write(
      options.json === true ? `${JSON.stringify(found, null, 2)}\n` : renderRuns(found, paintFor(process.stdout)),
    );
  });
  registerHistory(runs);
  const change = (name: string, description: string) =>
    withLibraryOptions(
      runs
        .command(name)
        .description(description)
        .argument("<run>", "the run's id, or `last`")
        .option("--json", "what was done, as JSON"),
    );
  change("note", "Write a note to a run; without words, take its note away.")
    .argument("[words...]", "what to remember of it")
    .action((run: string, words: string[], options: DoneOptions) =>
      mark(run, options, { note: words.length === 0 ? null : words.join(" ") }),
    );
  change("tag", "Tag a run, so that `dyetrace runs --tag TAG` finds it.")
    .argument("<tags...>", "letters, digits, dots, dashes and underscores")
    .action((run: string, tags: string[], options: DoneOptions) => mark(run, options, { addTags: readTags(tags) }));
  change("untag", "Take tags from a run.")
    .argument("<tags...>")
    .action((run: string, tags: string[], options: DoneOptions) => mark(run, options, { removeTags: tags }));
  withLibraryOptions(
    runs
      .command("remove")
      .description("Delete runs that are over, with all their reports.")
      .argument("<runs...>", "the runs' ids")
      .option("--json", "what was done, as JSON"),
  ).action(async (ids: string[], options: DoneOptions) => {
    await using library = await openLibrary(options);
    for (const id of ids) {
      await library.remove(id);
      note(options, `deleted run ${id}`);
      if (options.json !== true) process.stdout.write(`Run ${id} is deleted.\n`);
    }
    if (options.json === true) print(options, { removed: ids }, () => "");
  });
  registerBaselines(program);
}

function registerBaselines(program: Command): void {
  const baseline = withLibraryOptions(
    program
      .command("baseline")
      .description("Name a run, so that later runs can be held against it: compare RUN --against baseline:NAME.")
      .argument("<run>", "the run's id, or `last`")
      .argument("<name>", "for example core-fw-before")
      .option("--json", "what was done, as JSON"),
  ).action(async (run: string, name: string, options: DoneOptions) => {
    await using library = await openLibrary(options);
    const { runId } = await library.get(run);
    await library.nameBaseline(name, runId);
    note(options, `named run ${runId} baseline:${name}`);
    print(options, { run: runId, name }, () => `Run ${runId} is now baseline:${name}.\n`);
  });
  withLibraryOptions(
    baseline.command("list").description("All names, with their runs.").option("--json", "as JSON"),
  ).action(async (options: LibraryOptions & { readonly json?: boolean }) => {
    await using library = await openLibrary(options);
    const named = await library.baselines();
    process.stdout.write(options.json === true ? `${JSON.stringify(named, null, 2)}\n` : renderBaselines(named));
  });
  withLibraryOptions(
    baseline
      .command("remove")
      .description("Take a name away; its run stays.")
      .argument("<name>")
      .option("--json", "what was done, as JSON"),
  ).action(async (name: string, options: DoneOptions) => {
    await using library = await openLibrary(options);
    await library.removeBaseline(name);
    note(options, `removed the name baseline:${name}`);
    print(options, { removed: name }, () => `No run is called baseline:${name} any more.\n`);
  });
}

async function mark(run: string, options: DoneOptions, change: MarkChange): Promise<void> {
  await using library: RunLibrary = await openLibrary(options);
  const { runId } = await library.get(run);
  await library.mark(runId, change);
  note(options, `changed note or tags of run ${runId}`);
  print(options, { run: runId }, () => `Run ${runId} is changed.\n`);
}

function note({ data }: LibraryOptions, what: string): void {
  if (data !== undefined) noteDeed(data, what);
}

/** @throws {Fault} OPTION_INVALID */
function queryOf({ most, site, scenario, verdict, tag, since }: ListOptions, nowMs: number): RunQuery {
  const known = VERDICTS.find((one) => one === verdict);
  if (verdict !== undefined && known === undefined) {
    throw new Fault("OPTION_INVALID", `--verdict ${verdict} is no verdict`, `Write one of ${VERDICTS.join(", ")}`);
  }
  return {
    most,
    ...(site === undefined ? {} : { site }),
    ...(scenario === undefined ? {} : { scenario }),
    ...(known === undefined ? {} : { verdict: known }),
    ...(tag === undefined ? {} : { tag }),
    ...(since === undefined ? {} : { since: new Date(nowMs - since / 1e6).toISOString() }),
  };
}

/** @throws {Fault} OPTION_INVALID */
function readTags(tags: readonly string[]): string[] {
  const bad = tags.find((tag) => !new RegExp(TAG_FORM).test(tag));
  if (bad === undefined) return [...tags];
  throw new Fault(
    "OPTION_INVALID",
    `"${bad}" can't be a tag`,
    "Use up to 40 letters, digits, dots, dashes and underscores, a letter or digit first",
  );
}

interface TrendOptions extends LibraryOptions {
  readonly most?: number;
  readonly site?: string;
  readonly scenario?: string;
  readonly tag?: string;
  readonly figure?: string;
  readonly stream?: string;
  readonly listener?: string;
  readonly json?: boolean;
}

/** `dyetrace runs trend` and `dyetrace runs matrix`: stored runs side by side, and one of them listener by listener. */
function registerHistory(runs: Command): void {
  withLibraryOptions(
    runs
      .command("trend")
      .description("Every figure over the stored runs, oldest first.")
      .option("--most <number>", "how many runs, the newest (20)", readMost)
      .option("--site <name>", "only runs of this site")
      .option("--scenario <name>", "only runs of this scenario")
      .option("--tag <tag>", "only runs with this tag")
      .option("--figure <name>", "only this figure, for example loss_ratio")
      .option("--stream <name>", "only this stream")
      .option("--listener <agent>", "only this listener")
      .option("--json", "as JSON"),
  ).action(async (options: TrendOptions) => {
    await using library = await openLibrary(options);
    const { most, site, scenario, tag, figure, stream, listener } = options;
    const trends = await library.trends({
      ...(most === undefined ? {} : { most }),
      ...(site === undefined ? {} : { site }),
      ...(scenario === undefined ? {} : { scenario }),
      ...(tag === undefined ? {} : { tag }),
      ...(figure === undefined ? {} : { figure }),
      ...(stream === undefined ? {} : { stream }),
      ...(listener === undefined ? {} : { listener }),
    });
    print(options, trends, () => renderTrends(trends, paintFor(process.stdout)));
  });
  withLibraryOptions(
    runs
      .command("matrix")
      .description("What each listener lost of each stream in a run.")
      .argument("<run>", "the run's id, or `last`")
      .option("--json", "as JSON, with all figures"),
  ).action(async (run: string, options: LibraryOptions & { readonly json?: boolean }) => {
    await using library = await openLibrary(options);
    const matrix = await library.matrix((await library.get(run)).runId);
    print(options, matrix, () => renderMatrix(matrix, paintFor(process.stdout)));
  });
}

function print({ json }: { readonly json?: boolean }, value: unknown, render: () => string): void {
  process.stdout.write(json === true ? `${JSON.stringify(value, null, 2)}\n` : render());
}

/** @throws {Fault} OPTION_INVALID */
function readMost(text: string): number {
  const most = Number(text);
  if (Number.isInteger(most) && most >= 1 && most <= 10_000) return most;
  throw new Fault("OPTION_INVALID", `--most ${text} is no number of runs`, "Write a whole number from 1 to 10000");
}
