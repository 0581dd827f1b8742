import type { ControllerMessage } from "@dyetrace/wire";

type Beat = Extract<ControllerMessage, { readonly kind: "beat" }>;

/** Since this protocol a controller says which runs it conducts. */
const SAYS_SINCE = 8;
const MOST_RUNS = 64;

/**
 * Of several controllers one conducts a run. Each that takes it over has a higher epoch; orders of an earlier one are refused from
 * then on, and a controller that does not conduct the run keeps none of its sources going, however often it is heard.
 */
export class ConductorFence {
  /** By run, the newest last. */
  readonly #epochs = new Map<string, number>();
  /** Runs that the controller at the other end conducts, by its last word. */
  #vouched: ReadonlySet<string> = new Set();

  /** @param epoch of an order; absent: from a controller that knows of no others, or that ends what nobody conducts */
  admits(runId: string, epoch: number | undefined): boolean {
    if (epoch === undefined) return true;
    if (epoch < (this.#epochs.get(runId) ?? 0)) return false;
    this.#epochs.delete(runId);
    this.#epochs.set(runId, epoch);
    const [oldest] = this.#epochs.keys();
    if (this.#epochs.size > MOST_RUNS && oldest !== undefined) this.#epochs.delete(oldest);
    this.#vouched = new Set([...this.#vouched, runId]);
    return true;
  }

  /** The connection is another one from now on. */
  newLink(): void {
    this.#vouched = new Set();
  }

  heard({ conducts }: Beat): void {
    const held = (conducts ?? []).filter(({ runId, epoch }) => epoch >= (this.#epochs.get(runId) ?? 0));
    this.#vouched = new Set(held.map(({ runId }) => runId));
  }

  /** Whether what the controller says counts for the sources of this run. @param protocol that both sides speak */
  counts(runId: string | null, protocol: number): boolean {
    return protocol < SAYS_SINCE || runId === null || this.#vouched.has(runId);
  }
}
