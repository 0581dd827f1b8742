import Type, { type Static, type TSchema } from "@dyetrace/schema";
import { KeptHeadersSchema } from "../capture/kept-headers-schema.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { DeviceEntrySchema } from "../devices/device-access.ts";
import { DeviceReadingSchema } from "../devices/device-reading.ts";
import { InventoryChangesSchema, InventorySchema, InventorySummarySchema } from "../inventory/inventory-schema.ts";
import { NightSchema } from "../report/night-schema.ts";
import { ProbeRunSchema } from "../report/report-probe-schema.ts";
import { RunStorySchema } from "../report/story-schema.ts";
import { AgentSurroundingsSchema } from "../surroundings/surroundings-schema.ts";
import { AccessTokenSchema, TokenMadeSchema } from "./access-token.ts";
import { ConnectedAgentSchema, EnrolAnswerSchema, EnrolledAgentSchema, RotatedSchema } from "./console-agent.ts";
import { SignedInSchema } from "./console-session.ts";
import { DoneSchema, StoppedSchema } from "./done.ts";
import { PracticeAnswerSchema, RevealedFaultsSchema, StandingFaultsSchema } from "./practice-faults.ts";
import { ProbeOfferSchema } from "./probe-offer.ts";
import { DiskNeedSchema } from "./run-forecast.ts";
import { MatrixSchema, TrendsSchema } from "./run-history.ts";
import { BaselineSchema, RunIdSchema, RunRecordSchema, RunSummarySchema } from "./stored-run.ts";

export type ApiMethod = "GET" | "POST" | "PUT" | "PATCH" | "DELETE";

/** A route of the controller as whoever asks it sees it. */
interface ApiRoute {
  readonly method: ApiMethod;
  /** Parameters begin with a colon. */
  readonly path: string;
  readonly answer: TSchema;
}

const route = <Answer extends TSchema>(method: ApiMethod, path: string, answer: Answer) => ({ method, path, answer });

/**
 * What the commands ask a controller, by operation id: the routes declare the same answers, which a test holds against this
 * table, and the commands' client has its types from here.
 */
export const API_ROUTES = {
  startRun: route("POST", "/api/runs", RunIdSchema),
  askRunNeed: route("POST", "/api/runs/need", DiskNeedSchema),
  listRuns: route("GET", "/api/runs", Type.Array(RunSummarySchema)),
  readRun: route("GET", "/api/runs/:id", RunRecordSchema),
  readNight: route("GET", "/api/runs/:id/night", NightSchema),
  readMatrix: route("GET", "/api/runs/:id/matrix", MatrixSchema),
  readTrends: route("GET", "/api/history/trends", TrendsSchema),
  readStory: route("GET", "/api/runs/:id/story", RunStorySchema),
  readHeaders: route("GET", "/api/runs/:id/headers", Type.Union([KeptHeadersSchema, Type.Null()])),
  offerProbe: route("GET", "/api/runs/:id/probe", ProbeOfferSchema),
  listProbes: route("GET", "/api/runs/:id/probes", Type.Array(ProbeRunSchema)),
  stopRun: route("POST", "/api/runs/:id/abort", DoneSchema),
  stopEverything: route("POST", "/api/stop", StoppedSchema),
  markRun: route("PATCH", "/api/runs/:id", RunSummarySchema),
  removeRun: route("DELETE", "/api/runs/:id", DoneSchema),
  listBaselines: route("GET", "/api/baselines", Type.Array(BaselineSchema)),
  readBaseline: route("GET", "/api/baselines/:name", RunIdSchema),
  nameBaseline: route("PUT", "/api/baselines/:name", RunIdSchema),
  removeBaseline: route("DELETE", "/api/baselines/:name", DoneSchema),
  listAgents: route("GET", "/api/agents", Type.Array(ConnectedAgentSchema)),
  listEnrolled: route("GET", "/api/enrolled", Type.Array(EnrolledAgentSchema)),
  makeEnrolKey: route("POST", "/api/enrolled", EnrolAnswerSchema),
  rotateCredentials: route("POST", "/api/enrolled/rotate", RotatedSchema),
  readSurroundings: route("GET", "/api/surroundings", Type.Array(AgentSurroundingsSchema)),
  takeInventory: route("POST", "/api/inventories", InventorySummarySchema),
  listInventories: route("GET", "/api/inventories", Type.Array(InventorySummarySchema)),
  readInventory: route("GET", "/api/inventories/:id", InventorySchema),
  compareInventories: route("GET", "/api/inventories/:id/changes", InventoryChangesSchema),
  removeInventory: route("DELETE", "/api/inventories/:id", DoneSchema),
  listDevices: route("GET", "/api/devices", Type.Array(DeviceEntrySchema)),
  addDevice: route("POST", "/api/devices", DeviceEntrySchema),
  removeDevice: route("DELETE", "/api/devices/:node", DoneSchema),
  readDevice: route("POST", "/api/devices/:node/reading", DeviceReadingSchema),
  pasteTable: route("PUT", "/api/devices/:node/table", DeviceReadingSchema),
  listTokens: route("GET", "/api/tokens", Type.Array(AccessTokenSchema)),
  makeToken: route("POST", "/api/tokens", TokenMadeSchema),
  removeToken: route("DELETE", "/api/tokens/:name", DoneSchema),
  signIn: route("POST", "/api/sign-in", SignedInSchema),
  signOut: route("POST", "/api/sign-out", DoneSchema),
  putPracticeFaults: route("POST", "/api/practice/faults", StandingFaultsSchema),
  liftPracticeFaults: route("DELETE", "/api/practice/faults", StandingFaultsSchema),
  readPractice: route("GET", "/api/practice", PracticeAnswerSchema),
  hidePracticeFaults: route("POST", "/api/practice/hidden", StandingFaultsSchema),
  revealPracticeFaults: route("POST", "/api/practice/reveal", RevealedFaultsSchema),
} as const satisfies Readonly<Record<string, ApiRoute>>;

export type ApiName = keyof typeof API_ROUTES;
export type ApiAnswer<Name extends ApiName> = DeepReadonly<Static<(typeof API_ROUTES)[Name]["answer"]>>;

/** Every route has one: that of the table, or its method and path in one word. @param path parameters begin with a colon */
export function operationIdOf(method: string, path: string): string {
  const named = Object.entries(API_ROUTES).find(([, one]) => one.method === method.toUpperCase() && one.path === path);
  if (named !== undefined) return named[0];
  const words = path
    .replace(/^\/(api\/)?/, "")
    .split(/[/.-]/)
    .map((word) => (word.startsWith(":") ? `By-${word.slice(1)}` : word));
  const capital = (word: string): string => `${word.charAt(0).toUpperCase()}${word.slice(1)}`;
  return `${method.toLowerCase()}${words
    .flatMap((word) => word.split("-"))
    .map(capital)
    .join("")}`;
}
