import type { MessagePort } from "node:worker_threads";
import type { AgentTask } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";
import type { GroupSocket } from "../sockets/group-socket.ts";
import { joinRefused } from "../sockets/join-refused.ts";
import { SharedControl } from "../workers/shared-control.ts";
import { type FromWorker, type ToWorker, WORKER_PROTOCOL, type WorkerSetup } from "../workers/worker-protocol.ts";
import { ListenerRun } from "./listener-run.ts";
import { type OpenGroupSocket, openSockets } from "./open-sockets.ts";
import { PacketSorter } from "./packet-sorter.ts";

/** Where Linux and portable sockets differ. */
export interface ListenerPlatform {
  readonly seesHostDrops: boolean;
  /** The monotonic clock, ns. */
  readonly clock: () => number;
  /** A monotonic instant on the wall clock, ns since 1970. */
  readonly toWall: (monotonicNs: number) => bigint;
  /** Steps of the wall clock since the last call; null if it is not watched. */
  readonly takeClockSteps: () => number | null;
  /** Sockets opened with the result hand their packets to `sorter`. */
  readonly opener: (sorter: PacketSorter) => OpenGroupSocket;
  /** Waits for packets and calls `run.step`, until the run is over. Arrivals count from `startNs`. */
  readonly drive: (run: ListenerRun, sockets: readonly GroupSocket[], startNs: number) => void | Promise<void>;
}

/** Longest wait without a step, so that an abort is noticed in time. */
export const LONGEST_WAIT_MS = 50;

/** A listener's thread: takes one task after another from the main thread. */
export class ListenerThread {
  readonly #port: MessagePort;
  readonly #setup: WorkerSetup;
  readonly #platform: ListenerPlatform;
  readonly #control: SharedControl;
  #task: AgentTask | null = null;
  #sorter: PacketSorter | null = null;
  #sockets: GroupSocket[] = [];

  constructor(port: MessagePort, setup: WorkerSetup, platform: ListenerPlatform) {
    this.#port = port;
    this.#setup = setup;
    this.#platform = platform;
    this.#control = new SharedControl(setup.control);
    port.on("message", (message: ToWorker) => void this.#take(message));
    this.#say({ kind: "ready", protocol: WORKER_PROTOCOL });
  }

  async #take(message: ToWorker): Promise<void> {
    switch (message.kind) {
      case "prepare":
        return this.#prepare(message.id, message.task);
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

  async #prepare(id: number, task: AgentTask): Promise<void> {
    this.#discard();
    const sorter = new PacketSorter(task.runId);
    try {
      this.#sockets = await openSockets(task, this.#platform.seesHostDrops, this.#platform.opener(sorter));
      this.#task = task;
      this.#sorter = sorter;
      this.#say({ kind: "done", id });
    } catch (cause) {
      const fault = cause instanceof Fault ? cause : new Fault("SOCKET_REFUSED", `Cannot listen: ${String(cause)}`, "");
      this.#say({ kind: "refused", id, code: fault.code, message: fault.message, hint: fault.hint });
    }
  }

  async #run(startNs: number): Promise<void> {
    if (this.#task === null || this.#sorter === null) return;
    const { clock, toWall, takeClockSteps } = this.#platform;
    this.#sorter.anchor(toWall(startNs));
    const run = new ListenerRun(
      {
        task: this.#task,
        sockets: this.#sockets,
        control: this.#control,
        clock,
        takeClockSteps,
        onInterval: (part) => this.#say({ kind: "interval", part }),
        onJoinRefused: (stream, cause) => {
          const { code, message, hint } = joinRefused(stream, this.#setup.interfaceName, cause);
          this.#say({ kind: "trouble", code, message, hint });
        },
      },
      startNs,
    );
    await this.#platform.drive(run, this.#sockets, startNs);
    this.#discard();
  }

  #discard(): void {
    for (const socket of this.#sockets) socket.close();
    this.#sockets = [];
    this.#sorter = null;
    this.#task = null;
  }

  #say(message: FromWorker): void {
    this.#port.postMessage(message);
  }
}
