import { type MessagePort, parentPort, workerData } from "node:worker_threads";
import { type AgentTask, Fault } from "@dyetrace/wire";
import { SharedControl } from "../data-plane/shared-control.ts";
import { type FromWorker, type ToWorker, WORKER_PROTOCOL, type WorkerSetup } from "../data-plane/worker-protocol.ts";
import { KernelClock } from "../linux/clock.ts";
import { EventPoll } from "../linux/event-poll.ts";
import { LinuxGroupSocket, type LinuxListenerTools } from "../linux/linux-group-socket.ts";
import { ReceiveBlock } from "../linux/receive-block.ts";
import { joinRefused } from "./join-refused.ts";
import { ListenerRun } from "./listener-run.ts";
import { openSockets } from "./open-sockets.ts";
import { PacketSorter } from "./packet-sorter.ts";

const BATCH_PACKETS = 64;
/** A test packet's header and notice, with room; the fill behind them is not copied. */
const SLOT_BYTES = 128;
/** Longest wait, so that an abort is noticed in time. */
const LONGEST_WAIT_MS = 50;
const READY_SOCKETS = 64;

/** The listener's thread on Linux: waits in the kernel and reads messages only between runs. */
class LinuxListener {
  readonly #port: MessagePort;
  readonly #setup: WorkerSetup;
  readonly #clock = new KernelClock();
  readonly #block = new ReceiveBlock(BATCH_PACKETS, SLOT_BYTES);
  readonly #control: SharedControl;
  #task: AgentTask | null = null;
  #tools: LinuxListenerTools | null = null;
  #sockets: LinuxGroupSocket[] = [];

  constructor(port: MessagePort, setup: WorkerSetup) {
    this.#port = port;
    this.#setup = setup;
    this.#control = new SharedControl(setup.control);
    port.on("message", (message: ToWorker) => this.#take(message));
    this.#say({ kind: "ready", protocol: WORKER_PROTOCOL });
  }

  #take(message: ToWorker): void {
    switch (message.kind) {
      case "prepare":
        this.#prepare(message.id, message.task);
        return;
      case "go":
        this.#run(message.startNs);
        return;
      case "discard":
        this.#discard();
        this.#say({ kind: "done", id: message.id });
        return;
      case "close":
        this.#discard();
        this.#say({ kind: "done", id: message.id });
        this.#port.close();
        return;
    }
  }

  #prepare(id: number, task: AgentTask): void {
    this.#discard();
    const { interfaceIndex } = this.#setup;
    const tools: LinuxListenerTools = {
      clock: this.#clock,
      block: this.#block,
      sorter: new PacketSorter(task.runId),
      interfaceIndex,
      startNs: 0,
      clockSteps: 0,
    };
    try {
      openSockets(task, true, (group, port, source, streams) => {
        const socket = new LinuxGroupSocket(tools, group, port, source, streams);
        this.#sockets.push(socket);
        return socket;
      });
      this.#task = task;
      this.#tools = tools;
      this.#say({ kind: "done", id });
    } catch (cause) {
      this.#sockets = []; // closed by openSockets
      const fault = cause instanceof Fault ? cause : new Fault("SOCKET_REFUSED", String(cause), "");
      this.#say({ kind: "refused", id, code: fault.code, message: fault.message, hint: fault.hint });
    }
  }

  #run(startNs: number): void {
    const task = this.#task;
    const tools = this.#tools;
    if (task === null || tools === null) return;
    tools.startNs = startNs;
    this.#clock.pair();
    tools.sorter.anchor(this.#clock.toWall(startNs));
    const run = new ListenerRun(
      {
        task,
        sockets: this.#sockets,
        control: this.#control,
        clock: () => this.#clock.now(),
        toWall: (monotonicNs) => this.#clock.toWall(monotonicNs),
        takeClockSteps: () => {
          const steps = tools.clockSteps;
          tools.clockSteps = 0;
          return steps;
        },
        onInterval: (part) => this.#say({ kind: "interval", part }),
        onJoinRefused: (stream, cause) => {
          const fault = joinRefused(stream, this.#setup.interfaceName, cause);
          this.#say({ kind: "trouble", code: fault.code, message: fault.message, hint: fault.hint });
        },
      },
      startNs,
    );
    const poll = new EventPoll(READY_SOCKETS);
    for (const [i, socket] of this.#sockets.entries()) poll.add(socket.fd, i);
    let wakeNs = 0;
    while (!run.isOver) {
      const passNs = this.#clock.now();
      this.#wait(poll, wakeNs - passNs);
      wakeNs = run.step(passNs);
    }
    poll.close();
    this.#discard();
  }

  /** Takes in whatever is there, waiting for it no longer than `forNs`. */
  #wait(poll: EventPoll, forNs: number): void {
    const waitMs = Math.min(Math.max(0, Math.floor(forNs / 1e6)), LONGEST_WAIT_MS);
    // epoll_wait counts whole milliseconds: the last part of one is slept, so that a join happens on time.
    if (waitMs === 0 && forNs > 0) this.#clock.sleepUntil(this.#clock.now() + Math.min(forNs, 1e6));
    const ready = poll.wait(waitMs);
    for (let i = 0; i < ready; i++) this.#sockets[poll.token(i)]?.drain();
  }

  #discard(): void {
    for (const socket of this.#sockets) socket.close();
    this.#sockets = [];
    this.#tools = null;
    this.#task = null;
  }

  #say(message: FromWorker): void {
    this.#port.postMessage(message);
  }
}

if (parentPort !== null) new LinuxListener(parentPort, workerData as WorkerSetup);
