import Type, { type Static, type TSchema } from "@dyetrace/schema";
import { Count, Ns, words } from "../bounds.ts";
import { HandedHeadersSchema, MOST_HEADER_BYTES } from "../capture/kept-headers-schema.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Fault } from "../fault.ts";
import { AgentSightSchema, LONGEST_LOOK_NS, SHORTEST_LOOK_NS } from "../inventory/sight-schema.ts";
import { parseAs } from "../parse-message.ts";
import { SurroundingsSchema } from "../surroundings/surroundings-schema.ts";
import { AgentTaskSchema } from "./agent-task.ts";
import { ClockEstimateSchema } from "./clock-estimate-schema.ts";
import { AgentCapabilitiesSchema, IntervalReportSchema } from "./interval-report-schema.ts";
import { WatcherReportSchema } from "./watcher-report-schema.ts";

/**
 * The control link: JSON messages over one WebSocket that the agent opens. Both sides parse every message against
 * these schemas, once, where it comes in.
 */
export const CONTROL_PROTOCOL = 11;
/**
 * The oldest one that a controller of this build still speaks. 3 added upgrades, and that unknown kinds of message are
 * passed over; 4 shortened reports and took the figures out of them that nobody read; 5 tells all limits of a host's file; 6
 * renews credentials; 7 says what the store has of a run; 8 says by which right a controller conducts it, where there are several; 9 looks
 * at what is on the wire; 10 follows streams of others; 11 tells what neighbours announce.
 */
export const CONTROL_OLDEST_PROTOCOL = 2;
/** The oldest one that an agent of this build speaks: a controller of an earlier one does not understand its reports. */
export const AGENT_OLDEST_PROTOCOL = 4;
/** Largest message either side accepts. */
export const CONTROL_MAX_BYTES: number = 4 * 1024 * 1024;
/** The controller speaks at least this often; a source that hears nothing for its hold time stops. */
export const CONTROL_BEAT_MS = 1000;
/** Path of the agents' WebSocket. */
export const AGENT_LINK_PATH = "/agent-link";

/**
 * The newest protocol that a peer and this build both speak; null: none.
 * @param newest of the peer's @param oldest of the peer's; the same where it names none
 * @param ownOldest `AGENT_OLDEST_PROTOCOL` where the peer is a controller
 */
export function commonProtocol(
  newest: number,
  oldest: number,
  ownOldest: number = CONTROL_OLDEST_PROTOCOL,
): number | null {
  const common = Math.min(newest, CONTROL_PROTOCOL);
  return common >= Math.max(oldest, ownOldest) ? common : null;
}

const RunId = Type.String({ pattern: "^[0-9a-f]{16}$" });
/**
 * One uninterrupted piece of work of an agent in a run, drawn when it begins. An agent that was restarted, or whose
 * sources stopped for want of a controller, goes on in another.
 */
const Stint = Type.String({ pattern: "^[0-9a-f]{16}$" });
/** Reports count up from 1. */
const ReportNumber = Type.Integer({ minimum: 1, maximum: Number.MAX_SAFE_INTEGER });
/** How a report is told from others, whatever is wrong with the rest of it. */
export const ReportHeadSchema = Type.Object({
  kind: Type.Literal("report"),
  runId: RunId,
  stint: Stint,
  lastNumber: ReportNumber,
});
const Instance = Type.String({ pattern: "^[0-9a-f]{16}$" });
const Epoch = Type.Integer({ minimum: 1, maximum: Number.MAX_SAFE_INTEGER });
/** Of an order: rises each time another controller takes the run. Since protocol 8. */
const OfEpoch = Type.Optional(Epoch);
const Text = words(2000);
const Code = words(64);

const AgentName = Type.String({ pattern: "^[A-Za-z0-9][A-Za-z0-9._-]{0,62}$" });
const Version = words(64);
/** The part of an agent's credential that may be known. */
const CredentialId = Type.String({ pattern: "^[0-9a-f]{16}$" });
const HelloHead = {
  kind: Type.Literal("hello"),
  /** The newest and the oldest protocol that it speaks; without the latter it speaks one. */
  protocol: Type.Integer(),
  oldestProtocol: Type.Optional(Type.Integer()),
  version: Version,
  name: AgentName,
};
/** Of one look: drawn by the controller, and its answer repeats it. */
const LookId = Type.String({ pattern: "^[0-9a-f]{16}$" });
/** What every version's hello has: enough to say whose version is too old. */
export const AgentHelloHeadSchema = Type.Object(HelloHead);

export const AgentMessageSchema = Type.Union([
  Type.Object({
    ...HelloHead,
    key: words(256),
    /** Drawn at the agent's start: tells a reconnect from a second agent of the same name. */
    instance: Type.String({ pattern: "^[0-9a-f]{16}$" }),
    /** The run that this agent is busy with; null is none. */
    runId: Type.Union([RunId, Type.Null()]),
    capabilities: AgentCapabilitiesSchema,
    /** What its rights on its host keep it from, in sentences. */
    lacks: Type.Optional(Type.Array(words(300), { maxItems: 16 })),
    /** Whether the host's own file lets a controller upgrade it. */
    allowsUpgrade: Type.Optional(Type.Boolean()),
  }),
  Type.Object({ kind: Type.Literal("clock-ask"), id: Count }),
  Type.Object({ kind: Type.Literal("prepared"), runId: RunId, clock: Type.Union([ClockEstimateSchema, Type.Null()]) }),
  Type.Object({ kind: Type.Literal("refused"), runId: RunId, code: Code, message: Text, hint: Text }),
  Type.Object({
    kind: Type.Literal("report"),
    runId: RunId,
    stint: Stint,
    /** Reports count up from 1 within a stint. More than one number: the agent merged them while it had no controller. */
    firstNumber: ReportNumber,
    lastNumber: ReportNumber,
    /** Of these, reports that found no room in the agent's spool and are lost. */
    droppedReports: Count,
    /** Written as `shortenReport` makes it. */
    report: IntervalReportSchema,
    /** What the watcher saw since the report before; null on a host that can't watch. */
    watch: Type.Union([WatcherReportSchema, Type.Null()]),
    /** True on the last report of the run: everything is measured and the sockets are closed. */
    isFinal: Type.Boolean(),
  }),
  Type.Object({ kind: Type.Literal("trouble"), runId: RunId, code: Code, message: Text, hint: Text }),
  /** What became of an `upgrade`; after `isDone` it ends and comes back as the new version. */
  Type.Object({ kind: Type.Literal("upgrade-answer"), isDone: Type.Boolean(), message: Text, hint: Text }),
  /** Whether the credential of this id is on the agent's disk, and if not, why. Since protocol 6. */
  Type.Object({ kind: Type.Literal("credential-answer"), id: CredentialId, isKept: Type.Boolean(), message: Text }),
  /** What it saw in a look; null: it could not, and `why` says why. Since protocol 9. */
  Type.Object({
    kind: Type.Literal("looked"),
    id: LookId,
    sight: Type.Union([AgentSightSchema, Type.Null()]),
    why: Text,
  }),
  /** What it knows of the network around it: when it connects, and whenever that has changed. Since protocol 11. */
  Type.Object({ kind: Type.Literal("surroundings"), surroundings: SurroundingsSchema }),
  /** The headers that it kept of a run; null: none, and `why` says why. Since protocol 9. */
  Type.Object({
    kind: Type.Literal("gathered"),
    id: LookId,
    headers: Type.Union([HandedHeadersSchema, Type.Null()]),
    why: Text,
  }),
]);
export type AgentMessage = DeepReadonly<Static<typeof AgentMessageSchema>>;

export const ControllerMessageSchema = Type.Union([
  Type.Object({
    kind: Type.Literal("welcome"),
    protocol: Type.Integer(),
    version: Version,
    /** Drawn at the controller's start: tells one of several from the others, whatever the address. Since protocol 8. */
    instance: Type.Optional(Instance),
  }),
  Type.Object({
    kind: Type.Literal("turned-away"),
    code: Code,
    message: Text,
    hint: Text,
    /** The report that cannot be true: sent again it would be turned away again. */
    report: Type.Optional(Type.Object({ stint: Stint, lastNumber: ReportNumber })),
  }),
  Type.Object({ kind: Type.Literal("clock-answer"), id: Count, controllerNs: Ns }),
  Type.Object({
    kind: Type.Literal("beat"),
    /** The runs that this controller conducts: no other's sources are kept going by it. Since protocol 8. */
    conducts: Type.Optional(Type.Array(Type.Object({ runId: RunId, epoch: Epoch }), { maxItems: 256 })),
  }),
  Type.Object({ kind: Type.Literal("prepare"), runId: RunId, epoch: OfEpoch, task: AgentTaskSchema }),
  /** The run's start instant, on the controller's monotonic clock. */
  Type.Object({ kind: Type.Literal("go"), runId: RunId, epoch: OfEpoch, startControllerNs: Ns }),
  /** Without an epoch: from a controller where nobody conducts the run, and always obeyed. */
  Type.Object({ kind: Type.Literal("abort"), runId: RunId, epoch: OfEpoch, reason: Text }),
  /** Another controller needs this agent: go to the one of that instance, where it is among the addresses that the host knows. */
  Type.Object({ kind: Type.Literal("move"), to: Instance }),
  /** Goes on with a run that began without this agent, or that it was torn from: what is left of the task from now on. */
  Type.Object({
    kind: Type.Literal("resume"),
    runId: RunId,
    epoch: OfEpoch,
    task: AgentTaskSchema,
    startControllerNs: Ns,
  }),
  /** Fetch the controller's package of the agent, which has this SHA-256, and go on as that version. Since protocol 3. */
  Type.Object({
    kind: Type.Literal("upgrade"),
    version: Version,
    sha256: Type.String({ pattern: "^[0-9a-f]{64}$" }),
  }),
  /**
   * Another credential, `id.secret`, in the place of the one that this agent came with, which holds until the agent has kept or
   * used this one. Since protocol 6.
   */
  Type.Object({
    kind: Type.Literal("credential"),
    credential: Type.String({ pattern: "^[0-9a-f]{16}\\.[A-Za-z0-9_-]{43}$" }),
    /** When it ends: ISO 8601, UTC. */
    until: Type.String({ pattern: "^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9:.]{8,16}Z$" }),
  }),
  /** Everything of this stint up to `lastNumber` is in the store. */
  Type.Object({ kind: Type.Literal("ack"), runId: RunId, stint: Stint, lastNumber: ReportNumber }),
  /**
   * All that is in the store of this agent's reports of a run, of each stint up to `lastNumber`: a store that was put back from
   * an older copy has less than was acknowledged, and the agent sends the rest again. Since protocol 7.
   */
  Type.Object({
    kind: Type.Literal("stored"),
    runId: RunId,
    stints: Type.Array(Type.Object({ stint: Stint, lastNumber: ReportNumber }), { maxItems: 65_536 }),
  }),
  /** Watch all that is multicast for so long, whatever else goes on, and say what it was. Nothing is joined or sent. Since protocol 9. */
  Type.Object({
    kind: Type.Literal("look"),
    id: LookId,
    forNs: Type.Number({ minimum: SHORTEST_LOOK_NS, maximum: LONGEST_LOOK_NS }),
  }),
  /** Hand over the headers that were kept of a run, of these instants after its start. Since protocol 9. */
  Type.Object({
    kind: Type.Literal("gather"),
    id: LookId,
    runId: RunId,
    fromNs: Ns,
    toNs: Ns,
    mostBytes: Type.Integer({ minimum: 1, maximum: MOST_HEADER_BYTES }),
    /** True: it goes on keeping them; else it gives them up with that. */
    keepsOn: Type.Boolean(),
  }),
]);
export type ControllerMessage = DeepReadonly<Static<typeof ControllerMessageSchema>>;

type Messages = typeof AgentMessageSchema | typeof ControllerMessageSchema;

const variantOf = (value: unknown, schema: Messages): TSchema | undefined => {
  const kind = typeof value === "object" && value !== null && "kind" in value ? value.kind : null;
  return schema.anyOf.find(({ properties }) => properties.kind.const === kind);
};

/** Whether a message is of a kind that this build knows; whether it is well formed is another matter. */
export const isOfKnownKind = (value: unknown, schema: Messages): boolean => variantOf(value, schema) !== undefined;

/** As `parseAs`, with a word about the very part that is wrong. @throws {Fault} MESSAGE_INVALID */
export function parseMessage<T extends Messages>(schema: T, value: unknown, what: string): Static<T> {
  const variant = variantOf(value, schema);
  if (variant === undefined) throw new Fault("MESSAGE_INVALID", `${what} is of no kind that is known here`, "");
  return parseAs(variant, value, "MESSAGE_INVALID", what) as Static<T>;
}
