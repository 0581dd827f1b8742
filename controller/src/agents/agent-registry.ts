import { EventEmitter } from "node:events";
import { type AgentMessage, type ControllerMessage, Fault } from "@dyetrace/wire";
import type { Surroundings } from "@dyetrace/wire/surroundings/surroundings-schema";
import type { AgentDoor } from "../access/agent-door.ts";
import type { AgentSession, RunMessage, SessionGate } from "./agent-session.ts";
import { CONNECTION_LIMITS } from "./connection-limits.ts";

export interface RegistryEvents {
  connected: [AgentSession];
  gone: [AgentSession];
  message: [AgentSession, RunMessage];
  /** Orders of this run can go out again. */
  regained: [runId: string];
  upgradeAnswer: [AgentSession, UpgradeAnswer];
  /** Somebody came whom the door does not let in. */
  refused: [fault: Fault, from: string];
  /** What an agent says about a credential that it was handed. */
  credentialAnswer: [AgentSession, CredentialAnswer];
  /** What an agent saw in a look. */
  looked: [AgentSession, Looked];
  /** The headers that an agent kept of a run. */
  gathered: [AgentSession, Gathered];
}

type UpgradeAnswer = Extract<AgentMessage, { readonly kind: "upgrade-answer" }>;
export type CredentialAnswer = Extract<AgentMessage, { readonly kind: "credential-answer" }>;

export type Gathered = Extract<AgentMessage, { readonly kind: "gathered" }>;
export type Looked = Extract<AgentMessage, { readonly kind: "looked" }>;

export interface KnownSurroundings {
  readonly surroundings: Surroundings;
  /** When it was told, of `Date.now()`. */
  readonly atMs: number;
}

/** By which right a controller gives orders in a run. */
export interface ConductingRight {
  /** Whether nobody else can be conducting this run. */
  isHeld(runId: string): boolean;
  /** Rises each time another controller takes the run. */
  epochOf(runId: string): number;
}

/** How often every agent's right to be here is looked at again. */
const LOOK_AGAIN_MS = 1000;

/** Who is connected. One session a name; the same agent coming back replaces its own old connection. */
export class AgentRegistry extends EventEmitter<RegistryEvents> implements SessionGate {
  /** Runs that this controller conducts now, looks and ramps included, each with the run that it is a part of. */
  readonly conducted: Map<string, string> = new Map();
  /** By which right it does; by itself nobody disputes it. */
  right: ConductingRight = { isHeld: () => true, epochOf: () => 1 };
  readonly #sessions = new Map<string, { readonly session: AgentSession; credentialId: string | null }>();
  readonly #surroundings = new Map<string, KnownSurroundings>();
  readonly #door: Pick<AgentDoor, "admit" | "isGood">;
  readonly #looking: NodeJS.Timeout;

  constructor(door: Pick<AgentDoor, "admit" | "isGood">) {
    super();
    this.setMaxListeners(0); // each run listens, and there may be one for each site
    this.#door = door;
    this.#looking = setInterval(() => this.#lookAgain(), LOOK_AGAIN_MS);
    this.#looking.unref();
  }

  /** What the agents told of the network around them, by name; of those that are gone as well, as long as this controller runs. */
  get surroundings(): ReadonlyMap<string, KnownSurroundings> {
    return this.#surroundings;
  }

  /** Connected agents by name, in the order of their names. */
  list(): readonly AgentSession[] {
    return [...this.#sessions.values()].map(({ session }) => session).sort((a, b) => a.name.localeCompare(b.name));
  }

  find(name: string): AgentSession | undefined {
    return this.#sessions.get(name)?.session;
  }

  admit({ name, key, instance }: Extract<AgentMessage, { kind: "hello" }>, session: AgentSession): void {
    let credentialId: string | null;
    try {
      credentialId = this.#door.admit(name, key, Date.now());
    } catch (error) {
      if (error instanceof Fault) this.emit("refused", error, session.from);
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
    this.#sessions.set(name, { session, credentialId });
    this.emit("connected", session);
  }

  /** The credential that a connected agent came with, or has kept since; null: the key that is the same for all, or nobody. */
  credentialOf(name: string): string | null {
    return this.#sessions.get(name)?.credentialId ?? null;
  }

  /** A connected agent goes on with another credential than it came with. */
  changeCredential(name: string, id: string): void {
    const known = this.#sessions.get(name);
    if (known !== undefined) known.credentialId = id;
  }

  /** Sends an agent away that has lost its right to be here. */
  cut(name: string): void {
    this.#sessions.get(name)?.session.turnAway(revoked(name));
  }

  /**
   * What goes out to agents says by which right: orders bear the run's epoch, and each beat the runs for which it may be counted.
   * @returns null: it must not go out, because another controller may conduct the run
   */
  stamp(message: ControllerMessage): ControllerMessage | null {
    const { isHeld, epochOf } = this.right;
    if (message.kind === "beat") {
      const held = [...this.conducted].filter(([, of]) => isHeld(of));
      return { kind: "beat", conducts: held.map(([runId, of]) => ({ runId, epoch: epochOf(of) })) };
    }
    if (!isOrder(message)) return message;
    const of = this.conducted.get(message.runId);
    if (of === undefined) return message; // to end what nobody conducts
    // An end is never held back: whom it does not concern any more knows that by the epoch.
    if (message.kind !== "abort" && !isHeld(of)) return null;
    return { ...message, epoch: epochOf(of) };
  }

  onRunMessage(session: AgentSession, message: RunMessage): void {
    this.emit("message", session, message);
  }

  onUpgradeAnswer(session: AgentSession, answer: UpgradeAnswer): void {
    this.emit("upgradeAnswer", session, answer);
  }

  onCredentialAnswer(session: AgentSession, answer: CredentialAnswer): void {
    this.emit("credentialAnswer", session, answer);
  }

  onGathered(session: AgentSession, gathered: Gathered): void {
    this.emit("gathered", session, gathered);
  }

  onSurroundings({ name }: AgentSession, { surroundings }: Extract<AgentMessage, { kind: "surroundings" }>): void {
    const isRoom = this.#surroundings.has(name) || this.#surroundings.size < CONNECTION_LIMITS.mostAgents;
    if (isRoom) this.#surroundings.set(name, { surroundings, atMs: Date.now() });
  }

  onLooked(session: AgentSession, looked: Looked): void {
    this.emit("looked", session, looked);
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
    for (const [name, { credentialId }] of this.#sessions) if (!this.#door.isGood(name, credentialId)) this.cut(name);
  }
}

type Order = Extract<ControllerMessage, { readonly kind: "prepare" | "go" | "resume" | "abort" }>;
const ORDERS: ReadonlySet<string> = new Set(["prepare", "go", "resume", "abort"] satisfies Order["kind"][]);
const isOrder = (message: ControllerMessage): message is Order => ORDERS.has(message.kind);

const revoked = (name: string): Fault =>
  new Fault("NOT_AUTHORISED", `The credential of agent ${name} was revoked`, "Enrol it again if it shall come back");
