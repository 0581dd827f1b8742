import {
  type AgentCapabilities,
  type AgentMessage,
  AgentMessageSchema,
  CONTROL_BEAT_MS,
  CONTROL_PROTOCOL,
  type ControllerMessage,
  Fault,
  parseAs,
} from "@dyetrace/wire";
import type { Logger } from "pino";
import type { WebSocket } from "ws";
import { monotonicNs } from "./monotonic-clock.ts";

/** Messages that belong to a run, as the engine receives them. */
export type RunMessage = Extract<AgentMessage, { readonly runId: string }>;

/** One connected agent. Made only after its hello has been accepted. */
export interface AgentSession {
  readonly name: string;
  readonly instance: string;
  readonly version: string;
  readonly capabilities: AgentCapabilities;
  /** The run that it was busy with when it connected; null is none. */
  readonly runId: string | null;
  send(message: ControllerMessage): void;
}

export interface SessionGate {
  /** Decides on a hello; throws a `Fault` that is told to the agent. */
  admit(hello: Extract<AgentMessage, { kind: "hello" }>, session: AgentSession): void;
  onRunMessage(session: AgentSession, message: RunMessage): void;
  onGone(session: AgentSession): void;
}

/** How long a connection may take to say hello. */
const HELLO_WITHIN_MS = 5000;
/** A connection that has said nothing for this long (agents ask for the clock every second) is cut. */
const SILENT_AFTER_MS = 10_000;

/** Serves one WebSocket of an agent until it closes. */
export function serveAgentSocket(socket: WebSocket, gate: SessionGate, version: string, log: Logger): void {
  let session: AgentSession | null = null;
  let heardNs = monotonicNs();
  const send = (message: ControllerMessage): void => {
    if (socket.readyState === socket.OPEN) socket.send(JSON.stringify(message));
  };
  const turnAway = (fault: Fault): void => {
    send({
      kind: "turned-away",
      code: fault.code,
      message: fault.message,
      hint: fault.hint,
    });
    socket.close(1008);
  };
  const helloTimer = setTimeout(() => {
    if (session === null) socket.terminate();
  }, HELLO_WITHIN_MS);
  let beatNs = monotonicNs();
  const beatTimer = setInterval(() => {
    const nowNs = monotonicNs();
    // Held up itself, this program has not read yet what the agent sent meanwhile: that is not the agent's silence.
    if (nowNs - beatNs > 2 * CONTROL_BEAT_MS * 1e6) heardNs = nowNs;
    beatNs = nowNs;
    if (nowNs - heardNs > SILENT_AFTER_MS * 1e6) socket.terminate();
    else if (session !== null) send({ kind: "beat" });
  }, CONTROL_BEAT_MS);

  socket.on("message", (data) => {
    heardNs = monotonicNs();
    try {
      const message = parseAs(AgentMessageSchema, parseJson(String(data)), "MESSAGE_INVALID", "The agent's message");
      if (message.kind === "hello") {
        if (session !== null) throw new Fault("MESSAGE_INVALID", "The agent said hello twice", "");
        const { name, instance, capabilities } = message;
        const candidate: AgentSession = {
          name,
          instance,
          version: message.version,
          capabilities,
          runId: message.runId,
          send,
        };
        gate.admit(message, candidate);
        session = candidate;
        send({ kind: "welcome", protocol: CONTROL_PROTOCOL, version });
      } else if (session === null) {
        throw new Fault("MESSAGE_INVALID", "The agent's first message must be its hello", "");
      } else if (message.kind === "clock-ask") {
        send({
          kind: "clock-answer",
          id: message.id,
          controllerNs: monotonicNs(),
        });
      } else {
        gate.onRunMessage(session, message);
      }
    } catch (error) {
      if (!(error instanceof Fault)) throw error;
      log.warn({ err: error, agent: session?.name }, "agent turned away");
      turnAway(error);
    }
  });
  socket.on("error", (err) => log.debug({ err, agent: session?.name }, "agent socket error"));
  socket.on("close", () => {
    clearTimeout(helloTimer);
    clearInterval(beatTimer);
    if (session !== null) gate.onGone(session);
  });
}

function parseJson(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch (cause) {
    throw new Fault("MESSAGE_INVALID", "The agent's message is not JSON", "", {
      cause,
    });
  }
}
