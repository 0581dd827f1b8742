import { Worker } from "node:worker_threads";
import { Fault } from "@dyetrace/wire";
import type { PlanJob, PlanQuestion, PlanReply } from "./plan-job.ts";

/** A plan of a thousand hosts takes well under a second; nothing that anybody needs takes this long. */
const WITHIN_MS = 20_000;
/** Questions that may wait; each may be a megabyte. */
const MOST_WAITING = 32;
/** The thread's heap, MB: what a plan makes of itself stays there. */
const MOST_HEAP_MB = 512;

interface Waiting {
  readonly question: PlanQuestion;
  readonly resolve: (answer: never) => void;
  readonly reject: (reason: Error) => void;
}

/**
 * Works out what is asked about plans in a thread of its own, one question at a time and each within a time limit: whoever may
 * only look must not be able to hold up the controller, on whose beats every source depends.
 */
export class PlanDesk {
  readonly #waiting: Waiting[] = [];
  readonly #withinMs: number;
  #worker: Worker | null = null;
  #deadline: NodeJS.Timeout | undefined;
  #nextId = 1;
  #isBusy = false;

  constructor(withinMs: number = WITHIN_MS) {
    this.#withinMs = withinMs;
  }

  /** @throws {Fault} TOO_MANY where too many wait, or it takes too long; what the answer itself may throw */
  ask<Answer>(job: PlanJob): Promise<Answer> {
    if (this.#waiting.length >= MOST_WAITING) {
      return Promise.reject(new Fault("TOO_MANY", "Too many plans wait to be checked", "Try again in a minute"));
    }
    return new Promise<Answer>((resolve, reject) => {
      this.#waiting.push({ question: { id: this.#nextId++, job }, resolve, reject });
      this.#next();
    });
  }

  async close(): Promise<void> {
    for (const { reject } of this.#waiting.splice(0)) reject(new Fault("TOO_MANY", "The controller is ending", ""));
    await this.#drop();
  }

  #next(): void {
    const [first] = this.#waiting;
    if (this.#isBusy || first === undefined) return;
    this.#isBusy = true;
    this.#worker ??= this.#start();
    this.#deadline = setTimeout(() => {
      void this.#drop();
      const hint = "Divide it: a plan describes one site";
      this.#fail(new Fault("TOO_MANY", `This takes more than ${this.#withinMs / 1000} s to work out`, hint));
    }, this.#withinMs);
    this.#worker.postMessage(first.question);
  }

  #start(): Worker {
    // As it was built, also where this file is read as it was written: a thread takes no TypeScript.
    const script = new URL("../../dist/console/plan-desk-worker.js", import.meta.url);
    const worker = new Worker(script, { resourceLimits: { maxOldGenerationSizeMb: MOST_HEAP_MB } });
    worker.unref();
    worker.on("message", (reply: PlanReply) => this.#take(reply));
    worker.on("error", (error: unknown) => {
      if (this.#worker !== worker) return;
      this.#worker = null;
      this.#fail(isOutOfMemory(error) ? tooLarge(error) : asError(error));
    });
    return worker;
  }

  #take(reply: PlanReply): void {
    const [first] = this.#waiting;
    if (first === undefined || reply.id !== first.question.id) return;
    if ("fault" in reply) {
      const { code, message, hint } = reply.fault;
      this.#fail(new Fault(code, message, hint));
      return;
    }
    if ("failure" in reply) {
      this.#fail(new Error(reply.failure));
      return;
    }
    this.#done()?.resolve(reply.answer as never);
    this.#next();
  }

  #fail(reason: Error): void {
    this.#done()?.reject(reason);
    this.#next();
  }

  #done(): Waiting | undefined {
    clearTimeout(this.#deadline);
    this.#isBusy = false;
    return this.#waiting.shift();
  }

  async #drop(): Promise<void> {
    clearTimeout(this.#deadline);
    const worker = this.#worker;
    this.#worker = null;
    await worker?.terminate();
  }
}

const asError = (error: unknown): Error => (error instanceof Error ? error : new Error(String(error)));

/** Of all ways in which a thread can end, the one that the question itself causes. */
const isOutOfMemory = (error: unknown): boolean =>
  error instanceof Error && "code" in error && error.code === "ERR_WORKER_OUT_OF_MEMORY";

const tooLarge = (cause: unknown): Fault =>
  new Fault("TOO_MANY", "This takes more memory than there is for it", "Divide the plan", { cause });
