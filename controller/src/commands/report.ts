import { loadSitePlan } from "@dyetrace/site";
import type { ProbeRun, RunReport } from "@dyetrace/wire";
import { Argument, type Command } from "commander";
import { csvOfGaps, csvOfIncidents, csvOfReceipts } from "../report/csv/csv-report.ts";
import { renderNightSection } from "../report/html-night.ts";
import { renderHtmlReport } from "../report/html-report.ts";
import { junitOfRun } from "../report/junit-report.ts";
import type { Markup } from "../report/markup.ts";
import { withProbes } from "../report/probe-parts.ts";
import { nightSchemaDocument, reportSchemaDocument, storySchemaDocument } from "../report/report-schema-document.ts";
import { renderStorySection } from "../report/story/html-story.ts";
import { renderNight } from "../report/terminal-night.ts";
import { paintFor } from "../report/terminal-paint.ts";
import { renderReport } from "../report/terminal-report.ts";
import type { RunRecord } from "../store/run-record.ts";
import { writeUserFile } from "./arguments/write-user-file.ts";
import { reportOf } from "./client/report-of.ts";
import { type LibraryOptions, openLibrary, type RunLibrary, withLibraryOptions } from "./client/run-library.ts";
import { sayHowToProbe } from "./probe.ts";

interface ReportOptions extends LibraryOptions {
  readonly html?: string;
  readonly json?: string;
  readonly junit?: string;
  readonly csv?: string;
  readonly gapsCsv?: string;
  readonly incidentsCsv?: string;
  readonly summary?: boolean;
}

/** By the name of the file that they describe. */
const SCHEMAS = { report: reportSchemaDocument, story: storySchemaDocument, night: nightSchemaDocument };

export function registerReport(program: Command): void {
  withLibraryOptions(
    program
      .command("report")
      .description("The report of a stored run, on the terminal or as a file.")
      .argument("<run>", "the run's id, or `last`")
      .option("--html <file>", "one self-contained page that prints well")
      .option("--json <file>", "everything, for programs; `dyetrace schema` says what stands in it")
      .option("--junit <file>", "test cases for a CI system")
      .option("--csv <file>", "a line for each stream and listener")
      .option("--gaps-csv <file>", "a line for each gap")
      .option("--incidents-csv <file>", "a line for each incident of a long run")
      .option(
        "--summary",
        "what happened, in a minute: strips, worst incidents, patterns; also while the run goes on; with --json as a file",
      ),
  ).action(async (run: string, options: ReportOptions) => {
    await using library = await openLibrary(options);
    const record = await library.get(run);
    if (options.summary === true) {
      const night = await library.night(record.runId);
      if (options.json === undefined) process.stdout.write(renderNight(night, paintFor(process.stdout)));
      else writeUserFile(options.json, `${JSON.stringify(night, null, 2)}\n`);
      return;
    }
    const report = reportOf(record);
    const isLong = report.incidents !== undefined;
    const isPage = options.html !== undefined;
    const night = isPage && isLong ? renderNightSection(await library.night(record.runId)) : null;
    const sections = isPage ? await sectionsOf(library, record.runId, report) : [];
    writeReportFiles(report, record, options, { night, sections, probes: await library.probes(record.runId) });
  });
  program
    .command("schema")
    .description("The JSON Schema of the report that --json writes, of a run's story, or of its summary.")
    .addArgument(new Argument("[what]", "of what").choices(Object.keys(SCHEMAS)).default("report"))
    .action((what: keyof typeof SCHEMAS) => void process.stdout.write(SCHEMAS[what]()));
}

interface PageParts {
  readonly night: Markup | null;
  readonly sections: readonly Markup[];
  readonly probes: readonly ProbeRun[];
}

/** What stands in the page beside the report itself. */
async function sectionsOf(library: RunLibrary, runId: string, report: RunReport): Promise<readonly Markup[]> {
  const story = await library.findStory(runId);
  return [...(story === null ? [] : [renderStorySection(story, report)])];
}

function writeReportFiles(report: RunReport, record: RunRecord, options: ReportOptions, more: PageParts): void {
  const { probes } = more;
  const { site } = record.request;
  const graph = loadSitePlan(site.text, site.file);
  const files: [string | undefined, () => string][] = [
    [options.html, () => renderHtmlReport({ report, record, graph, ...more })],
    [options.json, () => `${JSON.stringify(withProbes(report, probes), null, 2)}\n`],
    [options.junit, () => junitOfRun(report)],
    [options.csv, () => csvOfReceipts(report)],
    [options.gapsCsv, () => csvOfGaps(report)],
    [options.incidentsCsv, () => csvOfIncidents(report)],
  ];
  const asked = files.filter(([file]) => file !== undefined);
  for (const [file, make] of asked) if (file !== undefined) writeUserFile(file, make());
  if (asked.length > 0) return;
  process.stdout.write(renderReport(report, graph, paintFor(process.stdout), probes));
  if (probes.length > 0) return;
  process.stdout.write(
    sayHowToProbe(report, `\`dyetrace probe ${report.run}\` takes the measurement that tells them apart best.`),
  );
}
