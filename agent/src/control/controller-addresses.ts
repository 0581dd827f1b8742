import type { KnownController } from "./ask-controller.ts";

const RETRY_FIRST_MS = 200;
const RETRY_MOST_MS = 5000;

/** Which of its controllers an agent tries when: each in its turn, and longer waits once all have been tried in vain. */
export class ControllerAddresses {
  readonly #controllers: readonly KnownController[];
  #at = 0;
  #retryMs = RETRY_FIRST_MS;
  /** The controller to which this agent was sent, and how many addresses may still be tried for it. */
  #wanted: { readonly instance: string; left: number } | null = null;
  /** Addresses that will not have this agent. */
  readonly #refusing = new Set<number>();

  /** @param controllers at least one */
  constructor(controllers: readonly KnownController[]) {
    this.#controllers = controllers;
  }

  get now(): KnownController {
    return this.#controllers[this.#at] as KnownController;
  }

  get areSeveral(): boolean {
    return this.#controllers.length > 1;
  }

  /** This agent was sent to another controller. */
  want(instance: string): void {
    this.#wanted = { instance, left: this.#controllers.length };
    this.#retryMs = 0;
  }

  /** @returns whether the controller that answers here is the one to which this agent was sent, if it was */
  isWanted(instance: string | undefined): boolean {
    const wanted = this.#wanted;
    if (wanted !== null && wanted.instance !== instance && --wanted.left > 0) {
      this.#retryMs = 0;
      return false;
    }
    this.#wanted = null; // found, or nowhere among the addresses
    this.#refusing.clear();
    this.#retryMs = RETRY_FIRST_MS;
    return true;
  }

  /** The controller here will not have this agent. @returns whether none will */
  refused(): boolean {
    this.#refusing.add(this.#at);
    return this.#refusing.size === this.#controllers.length;
  }

  /** Goes on to the next one. @returns how long to wait before it is tried, ms */
  next(): number {
    const waitMs = this.#retryMs;
    this.#at = (this.#at + 1) % this.#controllers.length;
    if (this.#at === 0) this.#retryMs = Math.min(this.#retryMs * 2, RETRY_MOST_MS);
    this.#retryMs ||= RETRY_FIRST_MS;
    return waitMs;
  }
}
