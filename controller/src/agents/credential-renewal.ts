import type { Logger } from "pino";
import type { AgentDoor } from "../access/agent-door.ts";
import type { AgentRegistry } from "./agent-registry.ts";

/** Since this protocol an agent knows what another credential is. */
const RENEWS_SINCE = 6;
const LOOK_MS = 1000;
/** An agent that could not keep one, or did not say so, is asked again after this. */
const AGAIN_AFTER_MS = 60_000;

export interface RenewalSetup {
  readonly registry: AgentRegistry;
  readonly door: Pick<AgentDoor, "records" | "isRenewalDue" | "draw" | "takeUp">;
  readonly log: Logger;
  /** Told of each agent whose old credential opens nothing any more. */
  readonly onRenewed: (name: string) => void;
  /** Wall clock, ms since 1970. */
  readonly now: () => number;
}

/**
 * Renews credentials over the links of connected agents. What is handed over is written down first, and the one before holds until
 * the agent has said that the new one is on its disk, or has come with it: whenever either side is killed, one of the two opens.
 */
export class CredentialRenewal implements Disposable {
  readonly #with: RenewalSetup;
  /** When each was last handed one, on the monotonic clock, ms. */
  readonly #askedMs = new Map<string, number>();
  readonly #kept = new Map<string, string>();
  readonly #troubles = new Map<string, string>();
  readonly #looking: NodeJS.Timeout;
  #isNear = false;
  /** After a failure, ms on the monotonic clock. */
  #restUntilMs = 0;

  constructor(setup: RenewalSetup) {
    this.#with = setup;
    const { registry, log } = setup;
    registry.on("connected", ({ name }) => {
      this.#askedMs.delete(name);
      this.#lookSoon();
    });
    registry.on("gone", ({ name }) => void this.#askedMs.delete(name));
    registry.on("credentialAnswer", ({ name }, { id, isKept, message }) => {
      // To nothing that was handed over, or to something that is no more.
      if (!setup.door.records.some((agent) => agent.name === name && agent.next?.id === id)) return;
      if (isKept) {
        this.#troubles.delete(name);
        this.#kept.set(name, id);
        this.#lookSoon();
        return;
      }
      this.#troubles.set(name, message);
      log.warn({ agent: name, why: message }, "an agent could not keep another credential; the one it has holds on");
    });
    this.#looking = setInterval(() => this.#look(), LOOK_MS);
    this.#looking.unref();
  }

  /** Why an agent could not keep another one when it was last handed over; null: it could, or was not asked. */
  troubleOf(name: string): string | null {
    return this.#troubles.get(name) ?? null;
  }

  [Symbol.dispose](): void {
    clearInterval(this.#looking);
  }

  /** All that come at once, as after a restart, go into one write. */
  #lookSoon(): void {
    if (this.#isNear) return;
    this.#isNear = true;
    setImmediate(() => {
      this.#isNear = false;
      this.#look();
    });
  }

  #look(): void {
    if (performance.now() < this.#restUntilMs) return;
    try {
      this.#takeUp();
      this.#handOver();
    } catch (err) {
      this.#restUntilMs = performance.now() + AGAIN_AFTER_MS;
      this.#with.log.error({ err }, "credentials could not be renewed; those that agents have hold on");
    }
  }

  /** Whoever came with the one that was handed over last, or says that it has kept it, needs the one before no more. */
  #takeUp(): void {
    const { registry, door, now, onRenewed } = this.#with;
    const inUse = new Map<string, string>();
    for (const { name, next } of door.records) {
      if (next === undefined) continue;
      if (this.#kept.get(name) === next.id || registry.credentialOf(name) === next.id) inUse.set(name, next.id);
    }
    if (inUse.size > 0) door.takeUp(inUse, now());
    this.#kept.clear();
    for (const [name, id] of inUse) {
      registry.changeCredential(name, id);
      this.#askedMs.delete(name);
      onRenewed(name);
    }
  }

  #handOver(): void {
    const { registry, door, now, log } = this.#with;
    const due = new Set<string>();
    for (const agent of door.records) {
      const session = registry.find(agent.name);
      const askedMs = this.#askedMs.get(agent.name);
      if (session === undefined || session.protocol < RENEWS_SINCE) continue;
      if (registry.credentialOf(agent.name) !== agent.id || !door.isRenewalDue(agent, now())) continue;
      if (askedMs === undefined || performance.now() - askedMs > AGAIN_AFTER_MS) due.add(agent.name);
    }
    if (due.size === 0) return;
    for (const name of due) this.#askedMs.set(name, performance.now());
    for (const [name, issued] of door.draw(due, now())) {
      log.info({ agent: name, until: issued.until }, "an agent is handed another credential");
      registry.find(name)?.send({ kind: "credential", ...issued });
    }
  }
}
