import type { MessagePort } from "node:worker_threads";
import type { AgentTask, TaskStream } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";
import { SendBudget } from "../guards/send-budget.ts";
import type { PacketOut } from "../sockets/packet-out.ts";
import { SharedControl } from "../workers/shared-control.ts";
import { type FromWorker, type ToWorker, WORKER_PROTOCOL, type WorkerSetup } from "../workers/worker-protocol.ts";
import { GuardedOut } from "./guarded-out.ts";
import { SenderRun } from "./sender-run.ts";
import { StreamSource } from "./stream-source.ts";

/** Where Linux and portable sockets differ. */
export interface SenderPlatform {
  /** The monotonic clock, ns. */
  readonly clock: () => number;
  /** A monotonic instant on the wall clock, ns since 1970. */
  readonly toWall: (monotonicNs: number) => bigint;
  /** @throws {Fault} */
  readonly open: (stream: TaskStream) => PacketOut | Promise<PacketOut>;
  /** Calls `run.step` whenever something is due, until the run is over. */
  readonly drive: (run: SenderRun) => void | Promise<void>;
}

/** Longest time without a step, so that an abort or a silent controller is noticed in time. */
export const LONGEST_SLEEP_NS = 50e6;

/** A sender's thread: takes one task after another from the main thread. */
export class SenderThread {
  readonly #port: MessagePort;
  readonly #setup: WorkerSetup;
  readonly #platform: SenderPlatform;
  readonly #control: SharedControl;
  readonly #budget: SendBudget;
  #task: AgentTask | null = null;
  #sources: StreamSource[] = [];

  constructor(port: MessagePort, setup: WorkerSetup, platform: SenderPlatform) {
    this.#port = port;
    this.#setup = setup;
    this.#platform = platform;
    this.#control = new SharedControl(setup.control);
    this.#budget = new SendBudget(setup.guards, platform.clock());
    port.on("message", (message: ToWorker) => void this.#take(message));
    this.#say({ kind: "ready", protocol: WORKER_PROTOCOL });
  }

  async #take(message: ToWorker): Promise<void> {
    switch (message.kind) {
      case "prepare":
        return this.#prepare(message.id, message.task, message.senderIds);
      case "go":
        return this.#run(message.startNs);
      case "discard":
        this.#discard();
        return this.#say({ kind: "done", id: message.id });
      case "close":
        this.#discard();
        this.#say({ kind: "done", id: message.id });
        this.#port.close();
    }
  }

  async #prepare(id: number, task: AgentTask, senderIds: readonly number[]): Promise<void> {
    this.#discard();
    const emitted = new Set(task.actions.filter(({ kind }) => kind === "emit").map(({ streamId }) => streamId));
    try {
      for (const [i, stream] of task.streams.entries()) {
        if (!emitted.has(stream.streamId)) continue;
        const identity = { runId: task.runId, senderId: senderIds[i] ?? 0, contact: this.#setup.contact };
        const out = new GuardedOut(await this.#platform.open(stream), this.#budget, this.#platform.clock);
        this.#sources.push(new StreamSource(stream, identity, out, this.#platform.clock));
      }
      this.#task = task;
      this.#say({ kind: "done", id });
    } catch (cause) {
      this.#discard();
      const fault = cause instanceof Fault ? cause : new Fault("SOCKET_REFUSED", `Cannot send: ${String(cause)}`, "");
      this.#say({ kind: "refused", id, code: fault.code, message: fault.message, hint: fault.hint });
    }
  }

  async #run(startNs: number): Promise<void> {
    if (this.#task === null) return;
    const run = new SenderRun(
      {
        task: this.#task,
        sources: this.#sources,
        guards: this.#setup.guards,
        budget: this.#budget,
        control: this.#control,
        clock: this.#platform.clock,
        onInterval: (part) => this.#say({ kind: "interval", part }),
        onRefused: ({ code, message, hint }) => this.#say({ kind: "trouble", code, message, hint }),
      },
      startNs,
      this.#platform.toWall(startNs),
    );
    await this.#platform.drive(run);
    this.#discard();
  }

  #discard(): void {
    for (const source of this.#sources) source.close();
    this.#sources = [];
    this.#task = null;
  }

  #say(message: FromWorker): void {
    this.#port.postMessage(message);
  }
}
