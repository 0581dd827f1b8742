import { setTimeout as sleep } from "node:timers/promises";
import { CONTROLLER_INSTANCE } from "../about/controller-instance.ts";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { EstateBus } from "./estate-bus.ts";

/** Since this protocol an agent knows what it is to move. */
const MOVES_SINCE = 8;
const AGAIN_MS = 5000;
const WITHIN_MS = 6000;
const LOOK_MS = 100;

/**
 * Agents hang on one controller each. Whoever conducts a run calls those of its agents that hang on another one, which lets
 * them go unless it conducts a run with them itself.
 */
export class AgentCalls implements Disposable {
  readonly #registry: AgentRegistry;
  readonly #bus: EstateBus;
  readonly #wanted = new Map<string, () => readonly string[]>();
  readonly #calling: NodeJS.Timeout;

  /** @param isBusyHere whether this controller conducts a run with an agent */
  constructor(registry: AgentRegistry, bus: EstateBus, isBusyHere: (agent: string) => boolean) {
    this.#registry = registry;
    this.#bus = bus;
    bus.on("word", (word) => {
      if (word.kind !== "call") return;
      for (const agent of word.agents) {
        const session = registry.find(agent);
        if (session === undefined || session.protocol < MOVES_SINCE || isBusyHere(agent)) continue;
        session.send({ kind: "move", to: word.to });
      }
    });
    this.#calling = setInterval(() => this.#callAll(), AGAIN_MS);
    this.#calling.unref();
  }

  /** Calls a run's agents again and again while they are missing. @returns ends it */
  keepCalling(runId: string, agents: readonly string[]): Disposable {
    if (this.#bus.isAlone) return { [Symbol.dispose]: () => {} };
    const missing = (): readonly string[] => this.#missing(agents);
    this.#wanted.set(runId, missing);
    this.#call(runId, missing());
    return {
      [Symbol.dispose]: () => {
        if (this.#wanted.get(runId) === missing) this.#wanted.delete(runId);
      },
    };
  }

  /** Waits a little until these agents are here. Who does not come is missed by whoever needs it. */
  async gather(runId: string, agents: readonly string[]): Promise<void> {
    if (this.#bus.isAlone || this.#missing(agents).length === 0) return;
    using _calling = this.keepCalling(runId, agents);
    for (let waitedMs = 0; waitedMs < WITHIN_MS && this.#missing(agents).length > 0; waitedMs += LOOK_MS) {
      await sleep(LOOK_MS);
    }
  }

  [Symbol.dispose](): void {
    clearInterval(this.#calling);
  }

  #missing(agents: readonly string[]): readonly string[] {
    return agents.filter((agent) => this.#registry.find(agent) === undefined);
  }

  #callAll(): void {
    for (const [runId, missing] of this.#wanted) this.#call(runId, missing());
  }

  #call(runId: string, agents: readonly string[]): void {
    if (agents.length > 0) void this.#bus.say({ kind: "call", to: CONTROLLER_INSTANCE, runId, agents: [...agents] });
  }
}
