import type { MessagePort } from "node:worker_threads";
import type { AgentTask } from "@dyetrace/wire";
import { watchedStreams } from "../guards/watched-streams.ts";
import { listeningFault } from "../receive/listening-fault.ts";
import { PacketSorter } from "../receive/packet-sorter.ts";
import type { Receiver } from "../receive/receiver.ts";
import type { GroupSocket } from "../sockets/group-socket.ts";
import { joinRefused } from "../sockets/join-refused.ts";
import { SharedControl } from "../workers/shared-control.ts";
import { type FromWorker, type ToWorker, WORKER_PROTOCOL, type WorkerSetup } from "../workers/worker-protocol.ts";
import { ListenerRun } from "./listener-run.ts";
import { openSockets } from "./open-sockets.ts";
import { RunSink } from "./run-sink.ts";

/** A listener's thread: takes one task after another from the main thread. */
export class ListenerThread {
  readonly #port: MessagePort;
  readonly #setup: WorkerSetup;
  readonly #receiver: Receiver;
  readonly #control: SharedControl;
  #task: AgentTask | null = null;
  #sorter: PacketSorter | null = null;
  #sockets: GroupSocket[] = [];

  constructor(port: MessagePort, setup: WorkerSetup, receiver: Receiver) {
    this.#port = port;
    this.#setup = setup;
    this.#receiver = receiver;
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
    const sorter = new PacketSorter(new RunSink(task.runId, this.#receiver.slotBytes));
    const { interfaceName, guards } = this.#setup;
    const open = this.#receiver.watcher?.(sorter, interfaceName) ?? null;
    const onRefused = (cause: unknown): void => {
      const { code, message, hint } = listeningFault(cause);
      this.#say({ kind: "trouble", code, message, hint });
    };
    const watch = open === null ? null : { streams: watchedStreams(task, guards), open, onRefused };
    try {
      this.#sockets = await openSockets(task, this.#receiver.seesHostDrops, this.#receiver.opener(sorter), watch);
      this.#task = task;
      this.#sorter = sorter;
      this.#say({ kind: "done", id });
    } catch (cause) {
      const { code, message, hint } = listeningFault(cause);
      this.#say({ kind: "refused", id, code, message, hint });
    }
  }

  async #run(startNs: number): Promise<void> {
    if (this.#task === null || this.#sorter === null) return;
    const { clock, toWall, takeClockSteps } = this.#receiver;
    this.#receiver.startAt(startNs);
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
    await this.#receiver.drive(run, this.#sockets);
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
