import { Worker } from "node:worker_threads";
import { type AgentTask, Fault } from "@dyetrace/wire";
import { WORKER_LIMITS } from "../workers/worker-limits.ts";
import {
  type FromWorker,
  type IntervalPart,
  type ToWorker,
  WORKER_PROTOCOL,
  type WorkerSetup,
} from "../workers/worker-protocol.ts";

export interface WorkerEvents {
  readonly onInterval: (part: IntervalPart) => void;
  readonly onTrouble: (fault: Fault) => void;
  /** The thread ended without being asked to. */
  readonly onLost: (fault: Fault) => void;
}

interface Waiting {
  readonly resolve: () => void;
  readonly reject: (reason: Error) => void;
}

/** The main thread's end of one data-plane worker. */
export class WorkerLink {
  readonly #worker: Worker;
  readonly #events: WorkerEvents;
  readonly #waiting = new Map<number, Waiting>();
  #nextId = 1;
  #isClosing = false;
  #failure: Error | null = null;

  private constructor(worker: Worker, events: WorkerEvents) {
    this.#worker = worker;
    this.#events = events;
    worker.on("message", (message: FromWorker) => this.#take(message));
    worker.on("error", (cause: Error) => {
      this.#failure = cause;
    });
    worker.on("exit", () => this.#end());
  }

  /** @param script the worker's compiled module @returns once the thread is ready for its first task */
  static async start(script: URL, setup: WorkerSetup, events: WorkerEvents): Promise<WorkerLink> {
    const worker = new Worker(script, { workerData: setup, resourceLimits: WORKER_LIMITS });
    const link = new WorkerLink(worker, events);
    await link.#wait(0);
    return link;
  }

  prepare(task: AgentTask, senderIds: readonly number[]): Promise<void> {
    return this.#ask((id) => ({ kind: "prepare", id, task, senderIds }));
  }

  go(startNs: number): void {
    this.#worker.postMessage({ kind: "go", startNs } satisfies ToWorker);
  }

  discard(): Promise<void> {
    return this.#ask((id) => ({ kind: "discard", id }));
  }

  /** Ends the thread; a run that is on must have been aborted first. */
  async close(): Promise<void> {
    if (this.#isClosing) return;
    this.#isClosing = true;
    await this.#ask((id) => ({ kind: "close", id })).catch(() => undefined);
    await this.#worker.terminate();
  }

  #ask(message: (id: number) => ToWorker): Promise<void> {
    const id = this.#nextId++;
    const answer = this.#wait(id);
    this.#worker.postMessage(message(id));
    return answer;
  }

  #wait(id: number): Promise<void> {
    return new Promise((resolve, reject) => this.#waiting.set(id, { resolve, reject }));
  }

  #take(message: FromWorker): void {
    switch (message.kind) {
      case "ready":
        if (message.protocol === WORKER_PROTOCOL) this.#waiting.get(0)?.resolve();
        else this.#waiting.get(0)?.reject(new Error(`The worker speaks protocol ${message.protocol}`));
        this.#waiting.delete(0);
        return;
      case "done":
        this.#waiting.get(message.id)?.resolve();
        this.#waiting.delete(message.id);
        return;
      case "refused":
        this.#waiting.get(message.id)?.reject(new Fault(message.code, message.message, message.hint));
        this.#waiting.delete(message.id);
        return;
      case "interval":
        this.#events.onInterval(message.part);
        return;
      case "trouble":
        this.#events.onTrouble(new Fault(message.code, message.message, message.hint));
        return;
    }
  }

  #end(): void {
    const fault = new Fault(
      "AGENT_CANNOT",
      "A data-plane thread of this agent ended unexpectedly",
      "Restart the agent.",
      {
        cause: this.#failure,
      },
    );
    for (const { reject } of this.#waiting.values()) reject(fault);
    this.#waiting.clear();
    if (!this.#isClosing) this.#events.onLost(fault);
  }
}
