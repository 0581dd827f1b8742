import { Readable } from "node:stream";
import Type, { type Static } from "@dyetrace/schema";
import { Fault } from "@dyetrace/wire";
import {
  type EnrolAnswer,
  EnrolAnswerSchema,
  EnrolledAgentSchema,
  type Rotated,
  RotatedSchema,
} from "@dyetrace/wire/console/console-agent";
import { DoneSchema } from "@dyetrace/wire/console/done";
import type { FastifyInstance, FastifyRequest } from "fastify";
import { type AuditLog, NOBODY } from "../audit/audit-log.ts";
import { AGENT_NAME } from "./access-records.ts";
import type { AgentDoor } from "./agent-door.ts";
import { agentPackage, installScript, packageStatement } from "./agent-package.ts";
import { MOST_HOSTS, MOST_LASTING_MS } from "./enrol-keys.ts";
import { type ControllerAddress, enrolLine } from "./enrol-line.ts";

export interface EnrolSetup {
  readonly door: AgentDoor;
  readonly audit: AuditLog;
  /** `sha256//…`; null without TLS. */
  readonly pin: string | null;
  /** Where all controllers of the estate are, as far as they said; a credential opens at each. */
  readonly controllers: () => readonly ControllerAddress[];
  /** Cuts an agent's connection at once. */
  readonly cut: (name: string) => void;
  /** Why an agent could not keep another credential; null: it could, or was not asked. */
  readonly troubleOf: (name: string) => string | null;
}

const EnrolSchema = Type.Object(
  { key: Type.String({ maxLength: 256 }), name: Type.String({ pattern: AGENT_NAME }) },
  { additionalProperties: false },
);
const KeySchema = Type.Object(
  {
    name: Type.Optional(Type.String({ pattern: AGENT_NAME })),
    interface: Type.Optional(Type.String({ pattern: "^[^\\s/]{1,15}$" })),
    many: Type.Optional(
      Type.Object(
        {
          hosts: Type.Optional(Type.Integer({ minimum: 1, maximum: MOST_HOSTS })),
          names: Type.Optional(Type.Array(Type.String({ pattern: AGENT_NAME }), { maxItems: MOST_HOSTS })),
          lastsMs: Type.Integer({ minimum: 60e3, maximum: MOST_LASTING_MS }),
        },
        { additionalProperties: false },
      ),
    ),
  },
  { additionalProperties: false },
);

/** Without a name all are meant. */
const RotateSchema = Type.Object(
  { name: Type.Optional(Type.String({ pattern: AGENT_NAME })) },
  { additionalProperties: false },
);

/** Tries of one network in a minute. */
const MOST_TRIES = 60;
const PIECE_BYTES = 64 * 1024;

/** What a host asks for when it is enrolled, and what an operator does about agents that are. */
export function registerEnrolment(
  app: FastifyInstance,
  { door, audit, pin, controllers, cut, troubleOf }: EnrolSetup,
): void {
  const few = { rateLimit: { max: MOST_TRIES, timeWindow: "1 minute" } };
  app.get("/agent/install", { config: few, schema: { hide: true } }, (request, reply) =>
    reply.type("text/x-shellscript; charset=utf-8").send(installScript(urlOf(request), pin)),
  );
  app.get("/agent/package.tgz", { config: few, schema: { hide: true } }, (_request, reply) =>
    reply.type("application/gzip").send(Readable.from(piecesOf(agentPackage().bytes))),
  );
  app.get("/agent/package.signed.json", { config: few, schema: { hide: true } }, (_request, reply) =>
    reply.type("application/json").send(packageStatement()),
  );
  app.post<{ Body: Static<typeof EnrolSchema> }>(
    "/agent/enrol",
    { config: { needs: "nobody", ...few }, bodyLimit: 4096, schema: { hide: true, body: EnrolSchema } },
    (request) => {
      const { key, name } = request.body;
      try {
        const issued = door.enrol(key, name, request.ip, Date.now());
        audit.count("enrolled");
        audit.note(`agent ${name}`, request.ip, "enrolled");
        const others = controllers().map(({ url, pin: theirs }) => ({ controller: url, pin: theirs }));
        return { name, ...issued, ...(others.length === 0 ? {} : { others }) };
      } catch (error) {
        const isKnown = door.records.some((agent) => agent.name === name);
        audit.count("enrolment-refused");
        audit.refuse(NOBODY, request.ip, `was refused when it enrolled${isKnown ? ` as agent ${name}` : ""}`);
        throw error;
      }
    },
  );
  app.get(
    "/api/enrolled",
    {
      schema: { summary: "Agents with a credential of their own", response: { 200: Type.Array(EnrolledAgentSchema) } },
    },
    () => door.enrolled(Date.now()).map((agent) => ({ ...agent, trouble: troubleOf(agent.name) })),
  );
  app.post<{ Body: Static<typeof RotateSchema> }>(
    "/api/enrolled/rotate",
    {
      schema: {
        summary: "Orders another credential for one agent or for all; what they have holds until they have it",
        body: RotateSchema,
        response: { 200: RotatedSchema },
      },
    },
    (request): Rotated => {
      const { name = null } = request.body;
      const agents = door.orderRotation(name);
      if (name !== null && agents.length === 0) throw new Fault("AGENT_MISSING", `No agent ${name} is enrolled`, "");
      return { agents };
    },
  );
  app.post<{ Body: Static<typeof KeySchema> }>(
    "/api/enrolled",
    {
      schema: {
        summary: "Makes a key that enrols one agent, or many, each once",
        body: KeySchema,
        response: { 200: EnrolAnswerSchema },
      },
    },
    (request): EnrolAnswer => {
      const { name = null, interface: interfaceName = null, many } = request.body;
      const by = request.operator?.name ?? "";
      if (many !== undefined && name !== null) {
        throw new Fault("OPTION_INVALID", "A key is for one host of that name, or for many", "Leave one of them out");
      }
      const { hosts = null, names = null, lastsMs = 0 } = many ?? {};
      const { key, until } =
        many === undefined
          ? door.makeKey(name, by, Date.now())
          : door.makeKeyForMany({ hosts, names, lastsMs }, by, Date.now());
      return { key, until, line: enrolLine({ url: urlOf(request), pin, key, name, interfaceName }) };
    },
  );
  app.delete<{ Params: { name: string } }>(
    "/api/enrolled/:name",
    { schema: { summary: "Revokes an agent's credential", response: { 200: DoneSchema } } },
    (request) => {
      const { name } = request.params;
      if (!door.revoke(name)) throw new Fault("AGENT_MISSING", `No agent ${name} is enrolled`, "");
      cut(name);
      return {};
    },
  );
}

/** A piece at a time as they are read: a connection keeps a copy of what it was handed, ciphered. */
function* piecesOf(bytes: Buffer): Generator<Buffer> {
  for (let at = 0; at < bytes.length; at += PIECE_BYTES) yield bytes.subarray(at, at + PIECE_BYTES);
}

/** As the asker reached this controller. @throws {Fault} OPTION_INVALID: it goes into a script */
function urlOf({ protocol, host }: FastifyRequest): string {
  if (/^[A-Za-z0-9.-]+(:[0-9]{1,5})?$|^\[[0-9A-Fa-f:]+\](:[0-9]{1,5})?$/.test(host)) return `${protocol}://${host}`;
  throw new Fault("OPTION_INVALID", "The request names this controller in a way that no shell should see", "");
}
