import Type, { type Static } from "@dyetrace/schema";
import { loadSitePlan } from "@dyetrace/site";
import { Fault, type Night, type ProbeRun, type RunStory } from "@dyetrace/wire";
import { type ComparisonAnswer, ComparisonAnswerSchema } from "@dyetrace/wire/console/comparison-answer";
import { saysFailure } from "@dyetrace/wire/console/run-failure";
import { type RunReplay, RunReplaySchema } from "@dyetrace/wire/console/run-replay";
import { type StoredRun, StoredRunSchema } from "@dyetrace/wire/console/stored-run";
import type { FastifyInstance } from "fastify";
import type { AuditLog } from "../audit/audit-log.ts";
import { compareRuns } from "../compare/compare-runs.ts";
import { runDifferences } from "../compare/run-differences.ts";
import { auditLinesOf } from "../evidence/evidence-files.ts";
import { packEvidence } from "../evidence/evidence-pack.ts";
import { noteTaken } from "../look/note-taken.ts";
import { summariseNight } from "../night/morning/night-summary.ts";
import { csvOfGaps, csvOfReceipts } from "../report/csv/csv-report.ts";
import { renderNightSection } from "../report/html-night.ts";
import { renderHtmlReport } from "../report/html-report.ts";
import { junitOfRun } from "../report/junit-report.ts";
import { withProbes } from "../report/probe-parts.ts";
import { csvOfStory } from "../report/story/csv-story.ts";
import { renderStorySection } from "../report/story/html-story.ts";
import { fileOf } from "../runs/json-lines.ts";
import type { RunRecord } from "../store/run-record.ts";
import type { Store } from "../store/store.ts";
import { stored } from "../store/stored.ts";
import { noStory } from "../story/no-story.ts";
import { drawPlan } from "./console-plan.ts";
import { replayRun } from "./replay-run.ts";

const AgainstSchema = Type.Object({ against: Type.Optional(Type.String({ maxLength: 64 })) });

/** Stored runs as the console shows them: one of them, two held against each other, and the files to take along. */
export function registerConsoleRuns(
  app: FastifyInstance,
  store: Store,
  audit: Pick<AuditLog, "linesOrLatest" | "note">,
): void {
  const get = (runId: string): Promise<RunRecord> => stored(store, () => store.runs.get(runId));
  /** Only long runs have one, as only they have incidents. */
  const nightOf = async (record: RunRecord): Promise<Night | null> =>
    record.report?.incidents === undefined || record.start === null
      ? null
      : stored(store, () => summariseNight(store, record, Date.now()));
  const partsOf = async (record: RunRecord): Promise<FileParts> => ({
    record,
    probes: await store.runs.probesOf(record.runId),
    story: await store.stories.find(record.runId),
    night: () => nightOf(record),
  });
  app.get<{ Params: { id: string } }>(
    "/api/console/runs/:id",
    { schema: { summary: "A stored run, with what to draw it on", response: { 200: StoredRunSchema } } },
    async (request): Promise<StoredRun> => {
      const record = await get(request.params.id);
      const { request: asked, report, failure } = record;
      const about = await stored(store, () => store.runs.summary(record.runId));
      return { ...about, drawing: drawPlan(graphOf(asked)), request: asked, report, failure };
    },
  );
  app.get<{ Params: { id: string }; Querystring: Static<typeof AgainstSchema> }>(
    "/api/console/runs/:id/comparison",
    {
      schema: {
        summary: "A run held against an earlier one",
        querystring: AgainstSchema,
        response: { 200: ComparisonAnswerSchema },
      },
    },
    async (request): Promise<ComparisonAnswer> => {
      const after = await get(request.params.id);
      const before = await get(request.query.against ?? "");
      const { outcome, reason, changes, comparisons, notes } = compareRuns(
        reportOf(after),
        reportOf(before),
        graphOf(after.request),
      );
      return {
        outcome,
        reason,
        changes,
        comparisons,
        notes,
        differences: runDifferences(before.request, after.request),
      };
    },
  );
  app.get<{ Params: { id: string } }>(
    "/api/console/runs/:id/replay",
    { schema: { summary: "What each listener got in each piece of a run's time", response: { 200: RunReplaySchema } } },
    async (request): Promise<RunReplay> => replayRun(store, await get(request.params.id)),
  );
  app.get<{ Params: { id: string } }>(
    "/api/console/runs/:id/files/evidence.zip",
    // Each reads the whole audit log.
    {
      config: { rateLimit: { max: 10, timeWindow: "1 minute" } },
      schema: { summary: "A run's evidence, one archive", response: fileOf("application/zip", "The archive") },
    },
    async (request, reply) => {
      const record = await get(request.params.id);
      const report = reportOf(record);
      const headers = await stored(store, () => store.captures.find(record.runId));
      if (headers !== null) noteTaken(audit, request, record.runId);
      const { zip } = packEvidence({
        headers,
        record,
        report,
        probes: await store.runs.probesOf(record.runId),
        story: await store.stories.find(record.runId),
        night: await nightOf(record),
        auditLines: auditLinesOf(audit.linesOrLatest(), record),
      });
      return reply
        .header("content-disposition", `attachment; filename="dyetrace-${record.runId}.zip"`)
        .type("application/zip")
        .send(Buffer.from(zip));
    },
  );
  const files = {
    schema: { summary: "A file of a run: a report, a table, its story", response: fileOf(ANY_FILE, "The file") },
  };
  app.get<{ Params: { id: string; file: string } }>(
    "/api/console/runs/:id/files/:file",
    files,
    async (request, reply) => {
      const { id, file } = request.params;
      const write = FILES.get(file);
      if (write === undefined) {
        throw new Fault("RUN_UNKNOWN", `A run has no file "${file}"`, `Ask for ${[...FILES.keys()].join(", ")}`);
      }
      const record = await get(id);
      return reply
        .header("content-disposition", `attachment; filename="dyetrace-${record.runId}-${file}"`)
        .type(ANY_FILE)
        .send(await write(await partsOf(record)));
    },
  );
}

/** It is kept, not shown. */
const ANY_FILE = "application/octet-stream";
interface FileParts {
  readonly record: RunRecord;
  readonly probes: readonly ProbeRun[];
  readonly story: RunStory | null;
  /** Only the page has it, and it is much to read. */
  readonly night: () => Promise<Night | null>;
}
type WriteFile = (parts: FileParts) => string | Promise<string>;
/** A map: of an object, `__proto__` would be a file as well. */
const FILES = new Map<string, WriteFile>([
  [
    "report.html",
    async ({ record, probes, story, night: read }) => {
      const report = reportOf(record);
      const sections = story === null ? [] : [renderStorySection(story, report)];
      const summary = await read();
      const night = summary === null ? null : renderNightSection(summary);
      return renderHtmlReport({ report, record, graph: graphOf(record.request), night, sections, probes });
    },
  ],
  ["report.json", ({ record, probes }) => `${JSON.stringify(withProbes(reportOf(record), probes), null, 2)}\n`],
  ["junit.xml", ({ record }) => junitOfRun(reportOf(record))],
  ["receipts.csv", ({ record }) => csvOfReceipts(reportOf(record))],
  ["gaps.csv", ({ record }) => csvOfGaps(reportOf(record))],
  ["story.csv", ({ record, story }) => csvOfStory(storyOf(record, story))],
  ["story.json", ({ record, story }) => `${JSON.stringify(storyOf(record, story), null, 2)}\n`],
]);

/** @throws {Fault} RUN_UNFINISHED */
function storyOf({ runId }: RunRecord, story: RunStory | null): RunStory {
  if (story === null) throw noStory(runId);
  return story;
}

const graphOf = ({ site }: RunRecord["request"]) => loadSitePlan(site.text, site.file);

/** @throws {Fault} RUN_UNFINISHED */
function reportOf({ runId, report, failure }: RunRecord): NonNullable<RunRecord["report"]> {
  if (report !== null) return report;
  throw new Fault(
    "RUN_UNFINISHED",
    failure === null ? `Run ${runId} has no report yet` : `${saysFailure(runId, failure)}: ${failure.message}`,
    failure === null ? "Wait for its end" : failure.hint,
  );
}
