import { narrowToFinding, narrowToGroup } from "@dyetrace/measure";
import { Fault, type RunStory } from "@dyetrace/wire";
import { type Command, InvalidArgumentError } from "commander";
import { csvOfStory } from "../report/story/csv-story.ts";
import { renderStory } from "../report/story/terminal-story.ts";
import { paintFor } from "../report/terminal-paint.ts";
import type { RunRecord } from "../store/run-record.ts";
import { writeUserFile } from "./arguments/write-user-file.ts";
import { type LibraryOptions, openLibrary, withLibraryOptions } from "./client/run-library.ts";

interface StoryOptions extends LibraryOptions {
  readonly group?: string;
  readonly finding?: number;
  readonly csv?: string;
  readonly json?: string;
}

export function registerStory(program: Command): void {
  withLibraryOptions(
    program
      .command("story")
      .description("Who asked, answered and left in a run; when the data came and went; which timer ran.")
      .argument("<run>", "the run's id, or `last`")
      .option("--group <address>", "of this group alone")
      .option("--finding <number>", "of what one finding is about, counted from 1", findingNumber)
      .option("--csv <file>", "a line for each message, and for each beginning and end; - for standard output")
      .option("--json <file>", "everything, for programs; `dyetrace schema story` says what stands in it"),
  ).action(async (run: string, options: StoryOptions) => {
    await using library = await openLibrary(options);
    const record = await library.get(run);
    const story = chosen(await library.story(record.runId), record, options);
    if (options.json !== undefined) writeUserFile(options.json, `${JSON.stringify(story, null, 2)}\n`);
    if (options.csv !== undefined) writeUserFile(options.csv, csvOfStory(story));
    if (options.json !== undefined || options.csv !== undefined) return;
    const columns = process.stdout.isTTY === true ? Math.max(LEAST_COLUMNS, process.stdout.columns) : PAGE_COLUMNS;
    process.stdout.write(renderStory(story, paintFor(process.stdout), columns));
  });
}

const LEAST_COLUMNS = 40;
const PAGE_COLUMNS = 120;

/** @throws {Fault} OPTION_INVALID */
function chosen(story: RunStory, { report }: RunRecord, { group, finding }: StoryOptions): RunStory {
  let told = story;
  if (finding !== undefined) {
    const count = report?.findings.length ?? 0;
    const one = report?.findings[finding - 1];
    if (report === null || one === undefined) {
      throw new Fault("OPTION_INVALID", `Run ${story.run} has no finding ${finding}`, `It has ${count} findings`);
    }
    told = narrowToFinding(story, one, report);
  }
  if (group === undefined) return told;
  const groups = [
    ...new Set(story.marks.flatMap((mark) => mark.group ?? []).concat(story.data.map((one) => one.group))),
  ];
  if (!groups.includes(group)) {
    throw new Fault("OPTION_INVALID", `Nothing is told of group ${group}`, `Its groups are ${groups.join(", ")}`);
  }
  return narrowToGroup(told, group);
}

function findingNumber(text: string): number {
  const number = Number(text);
  if (!Number.isInteger(number) || number < 1) throw new InvalidArgumentError("Write a whole number from 1 on.");
  return number;
}
