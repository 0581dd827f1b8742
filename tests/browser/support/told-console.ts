import { existsSync, readFileSync } from "node:fs";
import { createServer, type ServerResponse } from "node:http";
import type { AddressInfo } from "node:net";
import { loadSitePlan } from "@dyetrace/site";
import { parseAs, type RunOutline, type RunReport, RunReportSchema } from "@dyetrace/wire";
import { type ConsoleEvent, ConsoleEventSchema, type ConsoleHello } from "@dyetrace/wire/console/console-event";
import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import { type PlanDrawing, PlanDrawingSchema } from "@dyetrace/wire/console/plan-drawing";
import { type StoredRun, StoredRunSchema } from "@dyetrace/wire/console/stored-run";

/**
 * The built page before a server that answers what a test says, each answer held to its schema: what the console makes of
 * runs that nobody has to wait for.
 */
export interface ToldConsole extends AsyncDisposable {
  readonly url: string;
  /** Told to every page that is open, and to those that come later in their `hello`. */
  tell(event: ConsoleEvent): void;
  /** In the store from now on. */
  keep(run: StoredRun): void;
  /** What pages ask for beside runs, by method and path without its query. */
  readonly answers: Map<string, unknown>;
}

const PAGE = new URL("../../../packages/console/dist/page/", import.meta.url);
const TYPES: Readonly<Record<string, string>> = { html: "text/html", js: "text/javascript", css: "text/css" };
const BEAT_MS = 1000;

export async function tellConsole(about: Partial<ConsoleHello> = {}): Promise<ToldConsole> {
  let hello = helloOf(about);
  const followers = new Set<ServerResponse>();
  const runs = new Map<string, StoredRun>();
  const answers = new Map<string, unknown>([
    ["GET /api/session", { isOpen: true, operator: null, formToken: null, hasOperators: false }],
    ["GET /api/console/scenarios", []],
    ["GET /api/enrolled", []],
    ["GET /api/audit", []],
    ["GET /api/tokens", []],
    ["GET /api/operators", []],
    ["POST /api/console/plan-check", { kind: "mistakes", mistakes: [] }],
    ["GET /api/console/new-agent", { controllerUrl: "http://127.0.0.1:8472", key: null }],
  ]);
  const answerOf = (method: string, path: string): unknown => {
    const known = answers.get(`${method} ${path}`);
    if (known !== undefined) return known;
    if (path === "/api/runs") return [...runs.values()].reverse();
    if (path.endsWith("/probes")) return [];
    if (path.endsWith("/replay")) return { startedAt: "2026-11-29T12:00:00.000Z", cellMs: 1000, cells: 0, strips: [] };
    if (path.startsWith("/api/console/live/")) return { from: 0, figures: [] };
    return runs.get(decodeURIComponent(path.split("/")[4] ?? "")) ?? null;
  };
  const server = createServer((request, response) => {
    const { pathname } = new URL(request.url ?? "/", "http://localhost");
    if (pathname === "/api/console/events") {
      response.writeHead(200, { "content-type": "application/x-ndjson" });
      response.write(lineOf(hello));
      followers.add(response);
      response.on("close", () => followers.delete(response));
      return;
    }
    if (pathname.startsWith("/api/")) {
      const answer = answerOf(request.method ?? "GET", pathname);
      const unknown = { code: "RUN_UNKNOWN", message: `There is no ${pathname} here`, hint: "" };
      response.writeHead(answer === null ? 404 : 200, { "content-type": "application/json" });
      response.end(JSON.stringify(answer ?? unknown));
      return;
    }
    const file = new URL(`.${pathname === "/" ? "/index.html" : pathname}`, PAGE);
    if (!existsSync(file)) {
      response.writeHead(404).end();
      return;
    }
    response.writeHead(200, { "content-type": TYPES[file.pathname.split(".").at(-1) ?? ""] ?? "text/plain" });
    response.end(readFileSync(file));
  });
  await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
  const beat = setInterval(() => {
    for (const follower of followers) follower.write(lineOf({ kind: "beat" }));
  }, BEAT_MS);
  return {
    url: `http://127.0.0.1:${(server.address() as AddressInfo).port}`,
    answers,
    keep: (run) => runs.set(run.runId, parseAs(StoredRunSchema, run, "MESSAGE_INVALID", "The stored run") as StoredRun),
    tell: (event) => {
      if (event.kind === "run") hello = { ...hello, run: event.run };
      for (const follower of followers) follower.write(lineOf(event));
    },
    [Symbol.asyncDispose]: async () => {
      clearInterval(beat);
      for (const follower of followers) follower.destroy();
      server.closeAllConnections();
      await new Promise((resolve) => server.close(resolve));
    },
  };
}

const lineOf = (event: ConsoleEvent): string =>
  `${JSON.stringify(parseAs(ConsoleEventSchema, event, "MESSAGE_INVALID", "The event"))}\n`;

const helloOf = (about: Partial<ConsoleHello>): ConsoleHello => ({
  kind: "hello",
  instance: "told",
  version: "0.1.0",
  isPractice: true,
  isLive: false,
  plan: null,
  agents: [],
  run: null,
  strips: [],
  heard: [],
  ...about,
});

/** As the controller draws a plan: its answer is held to the same schema. */
export function drawingOf(plan: string): PlanDrawing {
  const graph = loadSitePlan(plan, "plan.yaml");
  const vlans = graph.vlans === undefined ? {} : { vlans: [...graph.vlans.values()] };
  const drawing = { site: graph.name, nodes: [...graph.nodes.values()], links: graph.links, ...vlans };
  return parseAs(PlanDrawingSchema, drawing, "MESSAGE_INVALID", "The drawing") as PlanDrawing;
}

/** A run in which one source sends one stream from its beginning on. */
export const reachOutline = (plan: string, toMs: number): RunOutline => ({
  site: { file: "plan.yaml", text: plan },
  scenario: "reach",
  streams: [
    {
      streamId: 1,
      name: "board",
      source: "tower",
      group: "239.195.10.4",
      port: 48620,
      rateBps: 2e6,
      payloadBytes: 1316,
      emits: [{ fromMs: 0, toMs }],
    },
  ],
  joins: [],
});

/** A finished run with its report. */
export function storedRun(plan: string, report: RunReport): StoredRun {
  parseAs(RunReportSchema, report, "MESSAGE_INVALID", "The report");
  return {
    runId: report.run,
    state: "done",
    site: report.site,
    scenario: report.scenario,
    verdict: report.verdict,
    createdAt: report.startedAt,
    startAt: null,
    startedAt: report.startedAt,
    endedAt: report.endedAt,
    baselines: [],
    tags: [],
    note: null,
    drawing: drawingOf(plan),
    request: { site: { file: "plan.yaml", text: plan }, scenario: { file: "s.yaml", text: "" }, parameters: {} },
    report,
    failure: null,
  };
}

/** The newest run. @param parts such as its stage, or its report once it is over */
export const toldRun = (runId: string, outline: RunOutline, parts: Partial<ConsoleRun> = {}): ConsoleRun => ({
  runId,
  outline,
  drawing: drawingOf(outline.site.text),
  stage: "running",
  steps: [],
  next: null,
  atMs: 5000,
  lastsMs: 60_000,
  startedAt: "2026-11-29T12:00:00.000Z",
  report: null,
  failure: null,
  ...parts,
});
