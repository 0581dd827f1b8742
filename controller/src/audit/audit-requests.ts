import { formatDurationNs } from "@dyetrace/wire";
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
  readonly bursts?: unknown;
  readonly name?: unknown;
  readonly scope?: unknown;
  readonly role?: unknown;
  readonly node?: unknown;
  readonly address?: unknown;
  readonly runId?: unknown;
  readonly many?: { readonly hosts?: unknown; readonly names?: unknown; readonly lastsMs?: unknown };
}

function manyAgents(many: Files["many"]): string {
  if (many === undefined) return "an agent";
  const names = Array.isArray(many.names) ? ` of ${many.names.length} names` : "";
  return `${many.hosts === undefined ? "agents" : `${short(many.hosts)} agents`}${names} within ${typeof many.lastsMs === "number" ? formatDurationNs(many.lastsMs * 1e6) : short(many.lastsMs)}`;
}

/** `2026-12-01 22:00:00 UTC`; what is no instant stays as it was sent. */
const instantWords = (text: string): string =>
  text.replace(/^(\d{4}-\d\d-\d\d)T(\d\d:\d\d:\d\d)(?:\.0+)?Z$/, "$1 $2 UTC");

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
    case "POST /api/console/plan-edit":
    case "POST /api/console/run-check":
      return null;
    case "POST /api/runs": {
      const run = /"runId":"([0-9a-f]+)"/.exec(payload)?.[1];
      const did = body.startAt === undefined ? "started" : "scheduled";
      const at = body.startAt === undefined ? "" : ` for ${instantWords(plain(body.startAt))}`;
      const kept = body.keepsHeaders === true ? ", with headers of packets kept" : "";
      const bursts = body.bursts === true ? ", with bursts where other traffic hides it" : "";
      const as = run === undefined ? "" : ` as run ${run}`;
      return `${did} ${fileName(body.scenario?.file)} on ${fileName(body.site?.file)}${as}${at}${setWords(body.parameters)}${despiteWords(body.despite)}${kept}${bursts}`;
    }
    case "POST /api/runs/:id/abort":
      return `stopped run ${bare(params["id"])}`;
    case "POST /api/inventories":
      return `had all agents look at the wire for ${typeof body.forMs === "number" ? formatDurationNs(body.forMs * 1e6) : short(body.forMs)}`;
    case "DELETE /api/inventories/:id":
      return `deleted inventory ${bare(params["id"])}`;
    case "POST /api/devices":
      return `added device ${plain(body.node)} at ${plain(body.address)}`;
    case "DELETE /api/devices/:node":
      return `removed device ${bare(params["node"])} and its credential`;
    case "PUT /api/devices/:node/table":
      return `gave a group table of ${bare(params["node"])} by hand`;
    case "POST /api/stop":
      return "stopped every source";
    case "POST /api/console/plan-draw":
      return "drew the site by what agents hear and devices say";
    case "PUT /api/console/plan":
      return "saved the site plan";
    case "POST /api/practice/faults":
      return "put faults into the practice site";
    case "POST /api/practice/hidden":
      return "put hidden faults into the practice site";
    case "POST /api/practice/reveal":
      return "had the practice site's hidden faults revealed";
    case "DELETE /api/practice/faults":
      return "took every fault out of the practice site";
    case "DELETE /api/practice/faults/:number":
      return `took fault ${bare(params["number"])} out of the practice site`;
    case "PUT /api/baselines/:name":
      return `named run ${plain(body.runId)} ${bare(params["name"])}`;
    case "DELETE /api/baselines/:name":
      return `removed the name ${bare(params["name"])} from its run`;
    case "PATCH /api/runs/:id":
      return `changed tags or note of run ${bare(params["id"])}`;
    case "DELETE /api/runs/:id":
      return `deleted run ${bare(params["id"])}`;
    case "POST /api/enrolled":
      return `made a key to enrol ${body.name === undefined ? manyAgents(body.many) : short(body.name)}`;
    case "POST /api/enrolled/rotate":
      return `ordered another credential for ${body.name === undefined ? "all agents" : short(body.name)}`;
    case "DELETE /api/enrolled/:name":
      return `revoked agent ${bare(params["name"])}`;
    case "POST /api/operators":
      return `added operator ${short(body.name)} to ${short(body.role)}`;
    case "DELETE /api/operators/:name":
      return `removed operator ${bare(params["name"])} and the tokens that this operator made`;
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
/** Letters that cannot be taken for a word of the log; anything else is quoted and escaped. */
const PLAIN = /^[\p{L}\p{N}_.:%/@+ [\],-]{1,200}$/u;
const plain = (value: unknown): string => (typeof value === "string" && PLAIN.test(value) ? value : short(value));
const fileName = (file: unknown): string => plain(typeof file === "string" ? file.split("/").at(-1) : file);

function setWords(parameters: unknown): string {
  const set = typeof parameters === "object" && parameters !== null ? Object.entries(parameters) : [];
  return set.length === 0
    ? ""
    : `, with ${set.map(([name, value]) => `${plain(name)} ${plain(value)}`).join(", ")}`.slice(0, 600);
}

const despiteWords = (despite: unknown): string =>
  Array.isArray(despite) && despite.length > 0 ? `, despite ${despite.map(plain).join(" and ")}` : "";

const short = (value: unknown): string => (JSON.stringify(value) ?? "nothing").slice(0, 300);

function refusalOf(payload: unknown): string {
  const message = /"message":"((?:[^"\\]|\\.)*)"/.exec(typeof payload === "string" ? payload : "")?.[1];
  return (message ?? "no reason given").slice(0, 300);
}
