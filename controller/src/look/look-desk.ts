import { randomBytes } from "node:crypto";
import { Fault } from "@dyetrace/wire";
import type { InventorySummary } from "@dyetrace/wire/inventory/inventory-schema";
import type { Logger } from "pino";
import type { AgentRegistry, Looked } from "../agents/agent-registry.ts";
import type { AgentSession } from "../agents/agent-session.ts";
import type { AgentLook } from "../inventory/agent-look.ts";
import { mergeSights } from "../inventory/merge-sights.ts";
import type { Store } from "../store/store.ts";

/** Since this protocol an agent knows what a look is. */
const LOOKS_SINCE = 9;
/** For an answer of thousands of senders to come in over a slow line, beyond the look itself. */
const ANSWER_WITHIN_MS = 15_000;

/** Where controllers share a store: agents hang on one of them. */
const ELSEWHERE = "Only agents that are connected to this controller looked, not those of others that share its store";

interface Order {
  readonly id: string;
  readonly takenAt: string;
  readonly forMs: number;
}

/**
 * Has all connected agents look at the wire at once, and keeps what they saw as one inventory. Nothing is joined or sent. One look
 * at a time; what an agent can't or doesn't answer is told in the inventory.
 */
export class LookDesk {
  readonly #registry: AgentRegistry;
  readonly #store: Store;
  readonly #log: Logger;
  #underWay: InventorySummary | null = null;
  /** The last that came to nothing, until the next begins. */
  #failed: InventorySummary | null = null;
  #end: (() => void) | null = null;
  #isClosed = false;

  constructor(registry: AgentRegistry, store: Store, log: Logger) {
    this.#registry = registry;
    this.#store = store;
    this.#log = log;
  }

  /** What is not in the store: a look under way, or one that failed. */
  get latest(): InventorySummary | null {
    return this.#underWay ?? this.#failed;
  }

  /** @throws {Fault} TOO_MANY while a look is under way; AGENT_MISSING where nobody is there to look */
  begin(forMs: number): InventorySummary {
    if (this.#underWay !== null) {
      throw new Fault(
        "TOO_MANY",
        "The agents are looking already",
        "Wait for that inventory, `dyetrace inventory list`",
      );
    }
    const agents = this.#registry.list();
    if (agents.length === 0) {
      throw new Fault("AGENT_MISSING", "No agent is connected, so nobody can look", "Connect agents first");
    }
    const order: Order = { id: randomBytes(8).toString("hex"), takenAt: new Date().toISOString(), forMs };
    const { id, takenAt } = order;
    const summary: InventorySummary = { id, takenAt, seenForMs: forMs, state: "looking", agents: null, groups: null };
    this.#underWay = summary;
    this.#failed = null;
    void this.#carryOut(order, agents, summary);
    return summary;
  }

  [Symbol.dispose](): void {
    this.#isClosed = true;
    this.#end?.();
  }

  async #carryOut(order: Order, agents: readonly AgentSession[], summary: InventorySummary): Promise<void> {
    try {
      const looks = await this.#ask(order, agents);
      if (this.#isClosed) return;
      await this.#store.inventories.keep(
        mergeSights({ ...order, looks, notAsked: this.#store.isPrivate ? [] : [ELSEWHERE] }),
      );
    } catch (error) {
      this.#log.error({ err: this.#store.fault(error) }, "an inventory could not be taken");
      this.#failed = { ...summary, state: "failed" };
    } finally {
      this.#underWay = null;
    }
  }

  /** @returns an answer for each agent, in their order */
  #ask({ id, forMs }: Order, agents: readonly AgentSession[]): Promise<readonly AgentLook[]> {
    const answers = new Map<string, AgentLook>();
    const able = agents.filter(({ protocol }) => protocol >= LOOKS_SINCE);
    const answerOf = ({ name, protocol, version }: AgentSession): AgentLook =>
      answers.get(name) ?? {
        agent: name,
        sight: null,
        why: protocol < LOOKS_SINCE ? `its version, ${version}, does not know how` : "it did not answer",
      };
    return new Promise((resolve) => {
      const onLooked = (from: AgentSession, looked: Looked): void => {
        if (looked.id !== id) return;
        answers.set(from.name, { agent: from.name, sight: looked.sight, why: looked.why });
        finishIfAll();
      };
      const onGone = (session: AgentSession): void => {
        if (answers.has(session.name)) return;
        answers.set(session.name, { agent: session.name, sight: null, why: "its connection was lost" });
        finishIfAll();
      };
      const finish = (): void => {
        clearTimeout(timer);
        this.#registry.off("looked", onLooked);
        this.#registry.off("gone", onGone);
        this.#end = null;
        resolve(agents.map(answerOf));
      };
      const finishIfAll = (): void => {
        if (able.every(({ name }) => answers.has(name))) finish();
      };
      const timer = setTimeout(finish, forMs + ANSWER_WITHIN_MS);
      this.#end = finish;
      this.#registry.on("looked", onLooked);
      this.#registry.on("gone", onGone);
      for (const session of able) session.send({ kind: "look", id, forNs: forMs * 1e6 });
      finishIfAll(); // where none of them knows how
    });
  }
}
