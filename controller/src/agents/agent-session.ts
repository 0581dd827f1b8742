import type { Static } from "@dyetrace/schema";
import {
  type AgentCapabilities,
  AgentHelloHeadSchema,
  type AgentMessage,
  AgentMessageSchema,
  CONTROL_BEAT_MS,
  CONTROL_OLDEST_PROTOCOL,
  CONTROL_PROTOCOL,
  type ControllerMessage,
  commonProtocol,
  Fault,
  isOfKnownKind,
  parseAs,
  parseMessage,
  ReportHeadSchema,
} from "@dyetrace/wire";
import type { Logger } from "pino";
import type { WebSocket } from "ws";
import { CONTROLLER_INSTANCE } from "../about/controller-instance.ts";
import { CONNECTION_LIMITS } from "./connection-limits.ts";
import { BYTES, MESSAGES, MessageBudget } from "./message-budget.ts";
import { monotonicNs } from "./monotonic-clock.ts";
import { completeHello, completeMessage } from "./older-agents.ts";
import { contradictionOf } from "./report-contradiction.ts";

/** Messages that belong to a run, as the engine receives them. */
export type RunMessage = Extract<AgentMessage, { readonly runId: string }>;
type ReportHead = Pick<Static<typeof ReportHeadSchema>, "stint" | "lastNumber">;
type Hello = Extract<Static<typeof AgentMessageSchema>, { kind: "hello" }>;

/** One connected agent. Made only after its hello has been accepted. */
export interface AgentSession {
  readonly name: string;
  readonly instance: string;
  readonly version: string;
  /** The control protocol that both sides speak. */
  readonly protocol: number;
  readonly capabilities: AgentCapabilities;
  /** What this agent's rights on its host keep it from, in sentences; null: it did not say. */
  readonly lacks: readonly string[] | null;
  /** Whether the host's own file lets its controller upgrade the agent. */
  readonly allowsUpgrade: boolean;
  /** The run that it was busy with when it connected; null is none. */
  readonly runId: string | null;
  /** The address that it connected from. */
  readonly from: string;
  send(message: ControllerMessage): void;
  /** Tells it why, and closes. */
  turnAway(fault: Fault): void;
}

export interface SessionGate {
  /** Decides on a hello; throws a `Fault` that is told to the agent. */
  admit(hello: Hello, session: AgentSession): void;
  onRunMessage(session: AgentSession, message: RunMessage): void;
  onGone(session: AgentSession): void;
  /** What goes out, with the right by which it does; null: it must not. */
  stamp?(message: ControllerMessage): ControllerMessage | null;
  /** What became of an upgrade. */
  onUpgradeAnswer?(session: AgentSession, message: Extract<AgentMessage, { kind: "upgrade-answer" }>): void;
  /** Whether it has kept a credential that it was handed. */
  onCredentialAnswer?(session: AgentSession, message: Extract<AgentMessage, { kind: "credential-answer" }>): void;
  /** The headers that it kept of a run. */
  onGathered?(session: AgentSession, message: Extract<AgentMessage, { kind: "gathered" }>): void;
  onSurroundings?(session: AgentSession, message: Extract<AgentMessage, { kind: "surroundings" }>): void;
  /** What it saw in a look. */
  onLooked?(session: AgentSession, message: Extract<AgentMessage, { kind: "looked" }>): void;
}

/** How long a connection may take to say hello. */
const HELLO_WITHIN_MS = 5000;
/** A connection that has said nothing for this long (agents ask for the clock every second) is cut. */
const SILENT_AFTER_MS = 10_000;
/** Whoever was told to go and has not closed by then is cut. */
const GOING_WITHIN_MS = 1000;

/** Serves one WebSocket of an agent until it closes. @param from the address at its other end */
export function serveAgentSocket(
  socket: WebSocket,
  from: string,
  gate: SessionGate,
  version: string,
  log: Logger,
): void {
  let session: AgentSession | null = null;
  let isGoing = false;
  let heardNs = monotonicNs();
  const budgets = [new MessageBudget(MESSAGES, heardNs), new MessageBudget(BYTES, heardNs)] as const;
  const send = (unstamped: ControllerMessage): void => {
    if (socket.readyState !== socket.OPEN) return;
    const message = gate.stamp === undefined ? unstamped : gate.stamp(unstamped);
    if (message === null) return;
    if (socket.bufferedAmount > CONNECTION_LIMITS.unreadBytes) socket.terminate();
    else socket.send(JSON.stringify(message));
  };
  const turnAway = ({ code, message, hint }: Fault, report?: { stint: string; lastNumber: number }): void => {
    if (isGoing) return;
    isGoing = true;
    send({ kind: "turned-away", code, message, hint, ...(report === undefined ? {} : { report }) });
    socket.close(1008);
    setTimeout(() => socket.terminate(), GOING_WITHIN_MS).unref();
  };
  const helloTimer = setTimeout(() => {
    if (session === null) socket.terminate();
  }, HELLO_WITHIN_MS);
  let beatNs = monotonicNs();
  const beatTimer = setInterval(() => {
    const nowNs = monotonicNs();
    // Held up itself, or holding the agent up, it has not read what the agent sent meanwhile: that is no silence.
    if (nowNs - beatNs > 2 * CONTROL_BEAT_MS * 1e6 || holdTimer !== undefined) heardNs = nowNs;
    beatNs = nowNs;
    if (nowNs - heardNs > SILENT_AFTER_MS * 1e6) socket.terminate();
    else if (session !== null) send({ kind: "beat" });
  }, CONTROL_BEAT_MS);
  let holdTimer: NodeJS.Timeout | undefined;
  /** Reads on later where this one has said more than its share. */
  const hold = (sizeBytes: number): void => {
    const waitMs = Math.max(budgets[0].spend(1, heardNs), budgets[1].spend(sizeBytes, heardNs));
    if (waitMs === 0) return;
    socket.pause();
    clearTimeout(holdTimer); // what was read already is still handed over, and makes the wait longer
    holdTimer = setTimeout(() => {
      holdTimer = undefined;
      socket.resume();
    }, waitMs);
  };
  const greet = (value: unknown): void => {
    const hello = readHello(value, version);
    const { name, instance, capabilities, runId, lacks = null, allowsUpgrade = false } = hello;
    const protocol = commonProtocol(hello.protocol, hello.oldestProtocol ?? hello.protocol) ?? CONTROL_PROTOCOL;
    const about = { name, instance, version: hello.version, protocol, capabilities, lacks, allowsUpgrade, runId, from };
    const candidate: AgentSession = { ...about, send, turnAway };
    gate.admit(hello, candidate);
    session = candidate;
    send({ kind: "welcome", protocol, version, instance: CONTROLLER_INSTANCE });
    send({ kind: "beat" });
  };
  const take = (known: AgentSession, value: unknown): void => {
    // A newer agent may tell what this controller does not know yet.
    if (known.protocol >= CONTROL_PROTOCOL && !isOfKnownKind(value, AgentMessageSchema)) return;
    const message = parseMessage(AgentMessageSchema, completeMessage(value), "The agent's message");
    switch (message.kind) {
      case "hello":
        throw new Fault("MESSAGE_INVALID", "The agent said hello twice", "");
      case "clock-ask":
        send({ kind: "clock-answer", id: message.id, controllerNs: monotonicNs() });
        return;
      case "upgrade-answer":
        gate.onUpgradeAnswer?.(known, message);
        return;
      case "credential-answer":
        gate.onCredentialAnswer?.(known, message);
        return;
      case "gathered":
        gate.onGathered?.(known, message);
        return;
      case "surroundings":
        gate.onSurroundings?.(known, message);
        return;
      case "looked":
        gate.onLooked?.(known, message);
        return;
      case "report": {
        const contradiction = contradictionOf(message);
        if (contradiction !== null) {
          throw new Fault("MESSAGE_INVALID", `The report of ${known.name} contradicts itself: ${contradiction}`, "");
        }
        gate.onRunMessage(known, message);
        return;
      }
      default:
        gate.onRunMessage(known, message);
    }
  };
  /** A report that cannot be true: the run is told that nothing of this agent's counts. */
  const doubted = (known: AgentSession, value: unknown, { code, message, hint }: Fault): ReportHead | undefined => {
    let head: Static<typeof ReportHeadSchema>;
    try {
      head = parseAs(ReportHeadSchema, value, "MESSAGE_INVALID", "The report");
    } catch {
      return undefined; // no report, or not one that could be told from others
    }
    const trouble = { kind: "trouble", runId: head.runId, code, message, hint } as const;
    try {
      gate.onRunMessage(known, trouble);
    } catch (err) {
      log.error({ err, agent: known.name }, "the run could not be told of a report that cannot be true");
    }
    return { stint: head.stint, lastNumber: head.lastNumber };
  };

  socket.on("message", (data, isBinary) => {
    if (isGoing) return;
    heardNs = monotonicNs();
    let value: unknown;
    try {
      if (isBinary) throw new Fault("MESSAGE_INVALID", "The agent's message is not text", "");
      const text = String(data);
      value = parseJson(text);
      if (session === null) greet(value);
      else take(session, value);
      hold(text.length);
    } catch (error) {
      const fault = error instanceof Fault ? error : notUnderstood(error, session?.name ?? "a stranger");
      if (error instanceof Fault) log.warn({ err: error, agent: session?.name }, "agent turned away");
      else log.error({ err: error, agent: session?.name }, "agent turned away: the controller failed on its message");
      turnAway(fault, session === null ? undefined : doubted(session, value, fault));
    }
  });
  socket.on("error", (err) => log.debug({ err, agent: session?.name }, "agent socket error"));
  socket.on("close", () => {
    clearTimeout(helloTimer);
    clearInterval(beatTimer);
    clearTimeout(holdTimer);
    if (session !== null) gate.onGone(session);
  });
}

/** Whatever one agent says, the others go on: a message that we fail on is taken for one that cannot be true. */
const notUnderstood = (cause: unknown, name: string): Fault =>
  new Fault("MESSAGE_INVALID", `The controller could not work with a message of ${name}: ${String(cause)}`, "", {
    cause,
  });

/** @throws {Fault} PROTOCOL_MISMATCH before the shape of the rest is looked at: another version's may differ */
function readHello(value: unknown, version: string): Hello {
  const head = parseAs(AgentHelloHeadSchema, value, "MESSAGE_INVALID", "The agent's first message");
  const oldest = head.oldestProtocol ?? head.protocol;
  if (commonProtocol(head.protocol, oldest) === null) {
    const isAgentOld = head.protocol < CONTROL_OLDEST_PROTOCOL;
    throw new Fault(
      "PROTOCOL_MISMATCH",
      `Agent ${head.name} (version ${head.version}) speaks control protocol ${head.protocol}, this controller (version ${version}) ${CONTROL_OLDEST_PROTOCOL} to ${CONTROL_PROTOCOL}: the ${isAgentOld ? "agent" : "controller"} is too old`,
      isAgentOld ? "Paste the controller's line for new agents on that host again" : "Update the controller first",
    );
  }
  const whole = completeHello(value, head.protocol);
  const hello = parseMessage(AgentMessageSchema, whole, "The agent's message");
  if (hello.kind === "hello") return hello;
  throw new Fault("MESSAGE_INVALID", "The agent's first message must be its hello", "");
}

function parseJson(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch (cause) {
    throw new Fault("MESSAGE_INVALID", "The agent's message is not JSON", "", { cause });
  }
}
