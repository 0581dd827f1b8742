import type { Command } from "commander";
import { AuditFile } from "../audit/audit-file.ts";
import { readPastedTable } from "../devices/pasted-table.ts";
import { auditLinesOf } from "../evidence/evidence-files.ts";
import { packEvidence } from "../evidence/evidence-pack.ts";
import { readUserFile } from "./arguments/read-user-file.ts";
import { writeUserFile } from "./arguments/write-user-file.ts";
import { type AskOptions, clientOf, withAskOptions } from "./client/ask-options.ts";
import { reportOf } from "./client/report-of.ts";
import { type LibraryOptions, openLibrary, withLibraryOptions } from "./client/run-library.ts";
import { noteDeed } from "./with-book.ts";

interface EvidenceOptions extends LibraryOptions {
  readonly out?: string;
  readonly json?: boolean;
}

/** `dyetrace evidence`: everything that stands behind a run's findings, as one archive. */
export function registerEvidence(program: Command): void {
  const evidence = withLibraryOptions(
    program
      .command("evidence")
      .description(
        "One archive of a stored run: report, plan, scenario, what was done meanwhile, headers where the run kept them, with SHA-256 sums.",
      )
      .argument("<run>", "the run's id, or `last`")
      .option("--out <file>", "where to write the archive (default: dyetrace-RUN.zip in this folder)")
      .option("--json", "say as JSON what stands in it"),
  ).action(async (run: string, options: EvidenceOptions) => {
    await using library = await openLibrary(options);
    const record = await library.get(run);
    const [probes, story] = [await library.probes(record.runId), await library.findStory(record.runId)];
    const auditLines = auditLinesOf(await auditOf(options), record);
    const report = reportOf(record);
    const night = report.incidents === undefined ? null : await library.night(record.runId);
    const headers = await library.headers(record.runId);
    if (headers !== null && options.data !== undefined) {
      noteDeed(options.data, `took the headers that were kept of run ${record.runId}`);
    }
    const pack = packEvidence({ record, report, probes, story, night, auditLines, headers });
    const file = options.out ?? `dyetrace-${record.runId}.zip`;
    writeUserFile(file, pack.zip);
    process.stdout.write(
      options.json === true
        ? `${JSON.stringify({ run: record.runId, file, sizeBytes: pack.zip.length, files: pack.files }, null, 2)}\n`
        : `Wrote ${file}: ${pack.files.length} files and their SHA-256 sums.\n`,
    );
  });
  withAskOptions(
    evidence
      .command("add")
      .description("Give the controller a switch's group table that it can't read itself, while a run goes on.")
      .argument("<node>", "the switch's name in the site plan")
      .requiredOption("--table <file>", "CSV with a first line `port,vlan,group`, as the switch's own display has them")
      .option("--json", "the same as JSON"),
  ).action(async (node: string, options: AskOptions & { readonly table: string; readonly json?: true }) => {
    const groups = readPastedTable(readUserFile(options.table).toString("utf8"), options.table);
    const { readAt } = await clientOf(options).ask("pasteTable", { path: { node }, body: { groups } });
    if (options.json === true) {
      process.stdout.write(`${JSON.stringify({ node, readAt, groups }, null, 2)}\n`);
      return;
    }
    process.stdout.write(
      `The controller has ${groups.length} ${groups.length === 1 ? "group" : "groups"} of ${node}, as of ${readAt}.\n`,
    );
  });
}

/** Lines of the audit log: of the controller that is asked, or of the data folder; a database has none. */
async function auditOf(options: EvidenceOptions): Promise<Iterable<string>> {
  if (options.data !== undefined) return new AuditFile(options.data).lines();
  if (options.store !== undefined || options.storeFile !== undefined) return [];
  const entries = (await clientOf(options).get("/api/audit?most=1000")) as readonly object[];
  return entries.toReversed().map((entry) => JSON.stringify(entry));
}
