import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { AgentSession, RunMessage } from "../agents/agent-session.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { type AgentHeaders, askForHeaders } from "./ask-for-headers.ts";
import { keepsHeaders, shareOf, WINDOW_SHARE } from "./gather-headers.ts";

/** How many losses of one run are kept, and how far they lie apart: a ring would not hold them until a long run's end. */
const MOST_WINDOWS = 4;
const APART_NS = 20e9;
/** What is kept before and after the second in which a listener missed something. */
const BEFORE_NS = 2e9;
const AFTER_NS = 1e9;
/** Until the frames of that time have come everywhere. */
const WAIT_MS = 1500;

/** While a run goes on: has all its agents hand over the headers around a loss that one of them reports. */
export class LossWindows implements Disposable {
  readonly #run: CompiledRun;
  readonly #registry: AgentRegistry;
  readonly #asked: Promise<AgentHeaders>[] = [];
  readonly #onMessage = (session: AgentSession, message: RunMessage): void => this.#take(session, message);
  #fromNs = Number.NEGATIVE_INFINITY;

  constructor(run: CompiledRun, registry: AgentRegistry) {
    this.#run = run;
    this.#registry = registry;
    if (keepsHeaders(run)) registry.on("message", this.#onMessage);
  }

  /** What was handed over. */
  parts(): Promise<readonly AgentHeaders[]> {
    return Promise.all(this.#asked);
  }

  [Symbol.dispose](): void {
    this.#registry.off("message", this.#onMessage);
  }

  #take({ name }: AgentSession, message: RunMessage): void {
    const { runId, tasks } = this.#run;
    if (message.kind !== "report" || message.runId !== runId || !tasks.has(name)) return;
    const { listeners, fromNs, toNs } = message.report;
    const hasLost = listeners.some(({ receipt }) => (receipt?.lost ?? 0) > 0);
    if (!hasLost || this.#asked.length >= MOST_WINDOWS || toNs < this.#fromNs + APART_NS) return;
    this.#fromNs = toNs;
    const names = [...tasks.keys()];
    const wanted = {
      ...{ runId, fromNs: fromNs - BEFORE_NS, toNs: toNs + AFTER_NS, keepsOn: true },
      mostBytes: Math.floor(shareOf(names.length) * WINDOW_SHARE),
    };
    this.#asked.push(
      new Promise((resolve) => setTimeout(resolve, WAIT_MS)).then(() => askForHeaders(names, wanted, this.#registry)),
    );
  }
}
