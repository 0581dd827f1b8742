import { randomBytes } from "node:crypto";
import Type from "@dyetrace/schema";
import {
  type ClockEstimate,
  Fault,
  type RunProgress,
  type RunRequest,
  RunRequestSchema,
  type UserFile,
  UserFileSchema,
} from "@dyetrace/wire";
import { type ConsoleAgent, type NewAgentHelp, NewAgentHelpSchema } from "@dyetrace/wire/console/console-agent";
import { ConsoleEventSchema, type ConsoleHello } from "@dyetrace/wire/console/console-event";
import { ConsoleScenarioSchema } from "@dyetrace/wire/console/console-scenario";
import { type LiveSeries, LiveSeriesSchema } from "@dyetrace/wire/console/live-second";
import { type PlanAnswer, PlanAnswerSchema } from "@dyetrace/wire/console/plan-answer";
import {
  type ConsolePlan,
  ConsolePlanSchema,
  type PlanToSave,
  PlanToSaveSchema,
} from "@dyetrace/wire/console/plan-drawing";
import { type EditAnswer, EditAnswerSchema, type PlanToEdit, PlanToEditSchema } from "@dyetrace/wire/console/plan-edit";
import { type RunAnswer, RunAnswerSchema } from "@dyetrace/wire/console/run-forecast";
import type { FastifyInstance } from "fastify";
import { isLoopbackAddress, isLoopbackName } from "../about/loopback.ts";
import { VERSION } from "../about/version.ts";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { AuditLog } from "../audit/audit-log.ts";
import type { DeviceDesk } from "../devices/device-desk.ts";
import { shippedScenarios } from "../plan/shipped-scenarios.ts";
import { JSON_LINES, linesOf } from "../runs/json-lines.ts";
import type { RunRegistry } from "../runs/run-registry.ts";
import type { Store } from "../store/store.ts";
import { ConsoleHub } from "./console-hub.ts";
import { registerConsolePage } from "./console-page.ts";
import { PlanShelf } from "./console-plan.ts";
import { registerExhibit } from "./exhibit-route.ts";
import { registerConsoleRuns } from "./kept-runs.ts";
import { WatchedRun } from "./live-run.ts";
import { PlanDesk } from "./plan-desk.ts";
import { registerPlanDrawing } from "./plan-drawing-route.ts";
import { registerProbeRoutes } from "./probe-routes.ts";

export interface ConsoleSetup {
  readonly registry: AgentRegistry;
  readonly runs: RunRegistry;
  /** Null: each agent enrols. */
  readonly agentKey: string | null;
  /** The plan that the controller was started with; null where it was started with none. */
  readonly plan: UserFile | null;
  /** Where a plan saved in the console is kept; null keeps it in memory. */
  readonly dataFolder: string | null;
  readonly isPractice: boolean;
  readonly isLive: boolean;
  readonly store: Store;
  /** Those that are read where the site is drawn. */
  readonly devices: DeviceDesk;
  /** Of the audit log, oldest first. */
  readonly audit: Pick<AuditLog, "linesOrLatest" | "note">;
}

/** Cells go out in batches: a hundred agents report within the same few milliseconds. */
const LIVE_BATCH_MS = 200;

/** The console's page and the routes that only it uses. @throws {Fault} SITE_PLAN_INVALID for a bad plan */
export function registerConsole(app: FastifyInstance, setup: ConsoleSetup): void {
  const { registry, runs } = setup;
  const instance = randomBytes(8).toString("hex");
  const hub = new ConsoleHub(() => hello());
  const desk = new PlanDesk();
  const shelf = new PlanShelf(setup.dataFolder, setup.plan);
  let watched: WatchedRun | null = null;

  const clocks = new Map<string, ClockEstimate>();
  const agents = (): ConsoleAgent[] =>
    registry.list().map(({ name, version, capabilities, lacks, allowsUpgrade }) => ({
      name,
      version,
      capabilities,
      lacks,
      allowsUpgrade,
      clock: clocks.get(name) ?? null,
    }));
  const hello = (): ConsoleHello => ({
    kind: "hello",
    instance,
    version: VERSION,
    isPractice: setup.isPractice,
    isLive: setup.isLive,
    plan: shelf.plan,
    agents: agents(),
    run: watched?.run ?? null,
    strips: watched?.strips ?? [],
    heard: watched?.heard ?? [],
  });

  registry.on("connected", () => hub.tell({ kind: "agents", agents: agents() }));
  registry.on("gone", (session) => {
    clocks.delete(session.name);
    hub.tell({ kind: "agents", agents: agents() });
  });
  registry.on("message", (session, message) => {
    watched?.take(session.name, message);
    if (message.kind === "prepared" && message.clock !== null) clocks.set(session.name, message.clock);
  });
  const onProgress = (runId: string, progress: RunProgress): void => {
    if (progress.kind === "outline") watched = new WatchedRun(runId, progress.outline, addressesOf(registry));
    if (watched?.run.runId !== runId) return;
    sendLive();
    watched.follow(progress);
    if (progress.kind === "go") hub.tell({ kind: "agents", agents: agents() }); // their clocks were compared just now
    hub.tell({ kind: "run", run: watched.run });
  };
  runs.on("progress", onProgress);
  runs.on("mirrored", onProgress);
  const sendLive = (): void => {
    if (watched === null) return;
    const { cells, heard } = watched.board.drain();
    const { runId } = watched.run;
    if (cells.length > 0) hub.tell({ kind: "live", runId, cells });
    if (heard.length > 0) hub.tell({ kind: "heard", runId, heard });
  };
  const batches = setInterval(sendLive, LIVE_BATCH_MS);
  batches.unref();
  app.addHook("onClose", async () => {
    clearInterval(batches);
    hub.close();
    return desk.close();
  });

  registerConsolePage(app);
  registerConsoleRuns(app, setup.store, setup.audit);
  registerExhibit(app, setup.store);
  registerProbeRoutes(app, { store: setup.store, registry, desk });
  app.get(
    "/api/console/events",
    { schema: { summary: "What happens, a JSON object a line", response: linesOf(ConsoleEventSchema) } },
    (_request, reply) =>
      reply
        .headers({ "content-type": JSON_LINES, "cache-control": "no-store" })
        .send(hub.open(() => reply.raw.destroy())),
  );
  app.get<{ Params: { run: string; agent: string; stream: string } }>(
    "/api/console/live/:run/:agent/:stream",
    { schema: { summary: "Figures of one listener, second by second", response: { 200: LiveSeriesSchema } } },
    (request): LiveSeries => {
      const { run, agent, stream } = request.params;
      const series = watched?.run.runId === run ? watched.board.series(agent, Number(stream)) : null;
      if (series === null) throw new Fault("RUN_UNKNOWN", `Nothing is kept of ${agent} in run ${run}`, "");
      return series;
    },
  );
  app.get(
    "/api/console/scenarios",
    { schema: { summary: "Scenarios that ship with it", response: { 200: Type.Array(ConsoleScenarioSchema) } } },
    () => shippedScenarios(),
  );
  app.post<{ Body: UserFile }>(
    "/api/console/plan-check",
    {
      config: { needs: "view" },
      schema: { summary: "What is wrong with a plan", body: UserFileSchema, response: { 200: PlanAnswerSchema } },
    },
    (request) => desk.ask<PlanAnswer>({ kind: "plan", text: request.body }),
  );
  app.post<{ Body: PlanToEdit }>(
    "/api/console/plan-edit",
    {
      config: { needs: "view" },
      schema: {
        summary: "A plan with one correction, and what is wrong with it then; nothing is kept",
        body: PlanToEditSchema,
        response: { 200: EditAnswerSchema },
      },
    },
    (request) => desk.ask<EditAnswer>({ kind: "edit", toEdit: request.body }),
  );
  registerPlanDrawing(app, { registry, devices: setup.devices, desk, site: () => shelf.plan?.drawing.site ?? null });
  app.put<{ Body: PlanToSave }>(
    "/api/console/plan",
    { schema: { summary: "Saves the site plan", body: PlanToSaveSchema, response: { 200: ConsolePlanSchema } } },
    ({ body: { file, text, replaces } }): ConsolePlan => {
      const plan = shelf.save({ file, text }, replaces);
      hub.tell({ kind: "plan", plan });
      return plan;
    },
  );
  app.post<{ Body: RunRequest }>(
    "/api/console/run-check",
    {
      config: { needs: "view" },
      schema: { summary: "What a run would do", body: RunRequestSchema, response: { 200: RunAnswerSchema } },
    },
    (request) =>
      desk.ask<RunAnswer>({
        kind: "run",
        request: request.body,
        connected: registry.list().map(({ name }) => name),
        isLive: setup.isLive,
      }),
  );
  app.get(
    "/api/console/new-agent",
    { schema: { summary: "How to bring an agent in", response: { 200: NewAgentHelpSchema } } },
    (request): NewAgentHelp => {
      const isHere = isLoopbackAddress(request.ip) && isLoopbackName(request.hostname);
      return { controllerUrl: `${request.protocol}://${request.host}`, key: isHere ? setup.agentKey : null };
    },
  );
}

const addressesOf = (registry: AgentRegistry): ReadonlySet<string> =>
  new Set(
    registry.list().flatMap(({ capabilities }) => [capabilities.interface.ipv4 ?? "", ...capabilities.interface.ipv6]),
  );
