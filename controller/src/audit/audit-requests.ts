import type { FastifyInstance, FastifyRequest } from "fastify";
import { type AuditLog, NOBODY } from "./audit-log.ts";

/** Notes every change that somebody made, or was refused, with what it was about. */
export function auditRequests(app: FastifyInstance, audit: AuditLog): void {
  app.addHook("onSend", async (request, reply, payload) => {
    const url = request.routeOptions.url ?? "";
    const isRefused = reply.statusCode >= 400;
    if (reply.statusCode === 401 || reply.statusCode === 403) audit.count("request-refused");
    if (reply.statusCode === 429) audit.count("too-many-requests");
    if (request.method === "GET" || request.method === "HEAD" || !url.startsWith("/api/")) return;
    const route = `${request.method} ${url}`;
    const what = describe(route, request, typeof payload === "string" ? payload : "");
    if (what === null) return;
    const who = request.operator?.name ?? NOBODY;
    if (!isRefused) audit.note(who, request.ip, what);
    else {
      // Of a stranger's words not one goes in: what was asked for is told by the route.
      const kind = `was refused ${route}`;
      audit.refuse(who, request.ip, kind, who === NOBODY ? kind : `${what}, refused: ${refusalOf(payload)}`);
    }
  });
}

interface Files {
  readonly scenario?: { readonly file?: unknown };
  readonly site?: { readonly file?: unknown };
  readonly parameters?: unknown;
  readonly startAt?: unknown;
  readonly despite?: unknown;
  readonly forMs?: unknown;
  readonly keepsHeaders?: unknown;
  readonly name?: unknown;
  readonly scope?: unknown;
  readonly role?: unknown;
  readonly node?: unknown;
  readonly address?: unknown;
  readonly many?: { readonly hosts?: unknown; readonly names?: unknown; readonly lastsMs?: unknown };
}

function manyAgents(many: Files["many"]): string {
  if (many === undefined) return "an agent";
  const names = Array.isArray(many.names) ? ` of ${many.names.length} names` : "";
  return `${many.hosts === undefined ? "agents" : `${short(many.hosts)} agents`}${names} within ${short(many.lastsMs)} ms`;
}

/** @returns null for what changes nothing, and for sign-ins, which have entries of their own */
function describe(route: string, request: FastifyRequest, payload: string): string | null {
  const params = (request.params ?? {}) as Readonly<Record<string, string>>;
  const body = (request.body ?? {}) as Files;
  switch (route) {
    case "POST /api/sign-in":
    case "POST /api/sign-out":
    case "POST /api/runs/need":
    case "POST /api/devices/:node/reading": // has an entry of its own, with the device's address
    case "POST /api/console/plan-check":
    case "POST /api/console/run-check":
      return null;
    case "POST /api/runs": {
      const run = /"runId":"([0-9a-f]+)"/.exec(payload)?.[1];
      const set = short(body.parameters);
      const at = body.startAt === undefined ? "" : ` for ${short(body.startAt)}`;
      const despite = body.despite === undefined ? "" : ` despite ${short(body.despite)}`;
      const kept = body.keepsHeaders === true ? ", headers kept" : "";
      return `started ${short(body.scenario?.file)} on ${short(body.site?.file)} with ${set}${at}${despite}${kept}${run === undefined ? "" : ` as run ${run}`}`;
    }
    case "POST /api/runs/:id/abort":
      return `stopped run ${bare(params["id"])}`;
    case "POST /api/inventories":
      return `had all agents look at the wire for ${short(body.forMs)} ms`;
    case "DELETE /api/inventories/:id":
      return `deleted inventory ${bare(params["id"])}`;
    case "POST /api/devices":
      return `added device ${short(body.node)} at ${short(body.address)} to read`;
    case "DELETE /api/devices/:node":
      return `removed device ${bare(params["node"])} and its credential`;
    case "PUT /api/devices/:node/table":
      return `gave a group table of ${bare(params["node"])} by hand`;
    case "POST /api/stop":
      return "stopped every source";
    case "PUT /api/console/plan":
      return "saved the site plan";
    case "POST /api/enrolled":
      return `made a key to enrol ${body.name === undefined ? manyAgents(body.many) : short(body.name)}`;
    case "POST /api/enrolled/rotate":
      return `ordered another credential for ${body.name === undefined ? "all agents" : short(body.name)}`;
    case "DELETE /api/enrolled/:name":
      return `revoked agent ${bare(params["name"])}`;
    case "POST /api/operators":
      return `added operator ${short(body.name)} to ${short(body.role)}`;
    case "DELETE /api/operators/:name":
      return `removed operator ${bare(params["name"])} and the tokens that he made`;
    case "POST /api/tokens":
      return `made the token ${short(body.name)} to ${short(body.scope)}`;
    case "DELETE /api/tokens/:name":
      return `removed the token ${bare(params["name"])}`;
    case "POST /api/agents/:name/upgrade":
      return `upgraded agent ${bare(params["name"])}`;
    default:
      return `${route.toLowerCase()} ${short(params)}`;
  }
}

const bare = (word: string | undefined): string => (word ?? "").slice(0, 64);
const short = (value: unknown): string => (JSON.stringify(value) ?? "nothing").slice(0, 300);

function refusalOf(payload: unknown): string {
  const message = /"message":"((?:[^"\\]|\\.)*)"/.exec(typeof payload === "string" ? payload : "")?.[1];
  return (message ?? "no reason given").slice(0, 300);
}
