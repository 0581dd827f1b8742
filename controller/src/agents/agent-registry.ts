import { EventEmitter } from "node:events";
import { type AgentMessage, Fault } from "@dyetrace/wire";
import type { AgentDoor } from "../access/agent-door.ts";
import type { AgentSession, RunMessage, SessionGate } from "./agent-session.ts";
import { CONNECTION_LIMITS } from "./connection-limits.ts";

export interface RegistryEvents {
  connected: [AgentSession];
  gone: [AgentSession];
  message: [AgentSession, RunMessage];
  upgradeAnswer: [AgentSession, UpgradeAnswer];
  /** Somebody came with a key that is not known here, or with another agent's. */
  refused: [];
}

type UpgradeAnswer = Extract<AgentMessage, { readonly kind: "upgrade-answer" }>;

/** How often every agent's right to be here is looked at again. */
const LOOK_AGAIN_MS = 1000;

/** Who is connected. One session a name; the same agent coming back replaces its own old connection. */
export class AgentRegistry extends EventEmitter<RegistryEvents> implements SessionGate {
  /** Runs that this controller conducts now, looks and ramps included. */
  readonly conducted: Set<string> = new Set();
  readonly #sessions = new Map<string, { readonly session: AgentSession; readonly key: string }>();
  readonly #door: Pick<AgentDoor, "admit" | "isGood">;
  readonly #looking: NodeJS.Timeout;

  constructor(door: Pick<AgentDoor, "admit" | "isGood">) {
    super();
    this.#door = door;
    this.#looking = setInterval(() => this.#lookAgain(), LOOK_AGAIN_MS);
    this.#looking.unref();
  }

  /** Connected agents by name, in the order of their names. */
  list(): readonly AgentSession[] {
    return [...this.#sessions.values()].map(({ session }) => session).sort((a, b) => a.name.localeCompare(b.name));
  }

  find(name: string): AgentSession | undefined {
    return this.#sessions.get(name)?.session;
  }

  admit({ name, key, instance }: Extract<AgentMessage, { kind: "hello" }>, session: AgentSession): void {
    try {
      this.#door.admit(name, key);
    } catch (error) {
      this.emit("refused");
      throw error;
    }
    const present = this.#sessions.get(name);
    if (present !== undefined && present.session.instance !== instance) {
      throw new Fault("NAME_TAKEN", `Another agent is connected as ${name}`, "Give this one its own --name");
    }
    if (present === undefined && this.#sessions.size >= CONNECTION_LIMITS.mostAgents) {
      throw new Fault(
        "TOO_MANY",
        `${CONNECTION_LIMITS.mostAgents} agents are connected, which is the most`,
        "Divide the site among controllers",
      );
    }
    this.#sessions.set(name, { session, key });
    this.emit("connected", session);
  }

  /** Sends an agent away that has lost its right to be here. */
  cut(name: string): void {
    this.#sessions.get(name)?.session.turnAway(revoked(name));
  }

  onRunMessage(session: AgentSession, message: RunMessage): void {
    this.emit("message", session, message);
  }

  onUpgradeAnswer(session: AgentSession, answer: UpgradeAnswer): void {
    this.emit("upgradeAnswer", session, answer);
  }

  onGone(session: AgentSession): void {
    if (this.#sessions.get(session.name)?.session !== session) return; // already replaced by its newer connection
    this.#sessions.delete(session.name);
    this.emit("gone", session);
  }

  close(): void {
    clearInterval(this.#looking);
  }

  #lookAgain(): void {
    for (const [name, { key }] of this.#sessions) if (!this.#door.isGood(name, key)) this.cut(name);
  }
}

const revoked = (name: string): Fault =>
  new Fault("NOT_AUTHORISED", `The credential of agent ${name} was revoked`, "Enrol it again if it shall come back");
