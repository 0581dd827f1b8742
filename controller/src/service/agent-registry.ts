import { timingSafeEqual } from "node:crypto";
import { EventEmitter } from "node:events";
import { type AgentMessage, CONTROL_PROTOCOL, Fault } from "@dyetrace/wire";
import type { AgentSession, RunMessage, SessionGate } from "./agent-session.ts";

export interface RegistryEvents {
  connected: [AgentSession];
  gone: [AgentSession];
  message: [AgentSession, RunMessage];
}

/** Who is connected. One session a name; the same agent coming back replaces its own old connection. */
export class AgentRegistry extends EventEmitter<RegistryEvents> implements SessionGate {
  readonly #sessions = new Map<string, AgentSession>();
  readonly #key: Buffer;

  /** @param key what an agent must present in its hello */
  constructor(key: string) {
    super();
    this.#key = Buffer.from(key);
  }

  /** Connected agents by name, in the order of their names. */
  list(): readonly AgentSession[] {
    return [...this.#sessions.values()].sort((a, b) => a.name.localeCompare(b.name));
  }

  find(name: string): AgentSession | undefined {
    return this.#sessions.get(name);
  }

  admit(hello: Extract<AgentMessage, { kind: "hello" }>, session: AgentSession): void {
    if (hello.protocol !== CONTROL_PROTOCOL) {
      throw new Fault(
        "PROTOCOL_MISMATCH",
        `Agent ${hello.name} (version ${hello.version}) speaks control protocol ${hello.protocol}, this controller ${CONTROL_PROTOCOL}`,
        "Install the same version of dyetrace on both",
      );
    }
    const key = Buffer.from(hello.key);
    if (key.length !== this.#key.length || !timingSafeEqual(key, this.#key)) {
      throw new Fault(
        "NOT_AUTHORISED",
        `The key of agent ${hello.name} is not this controller's`,
        "Start it with --key",
      );
    }
    const present = this.#sessions.get(hello.name);
    if (present !== undefined && present.instance !== hello.instance) {
      throw new Fault("NAME_TAKEN", `Another agent is connected as ${hello.name}`, "Give this one its own --name");
    }
    this.#sessions.set(hello.name, session);
    this.emit("connected", session);
  }

  onRunMessage(session: AgentSession, message: RunMessage): void {
    this.emit("message", session, message);
  }

  onGone(session: AgentSession): void {
    if (this.#sessions.get(session.name) !== session) return; // already replaced by its newer connection
    this.#sessions.delete(session.name);
    this.emit("gone", session);
  }
}
