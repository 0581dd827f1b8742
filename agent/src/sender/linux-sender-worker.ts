import { type MessagePort, parentPort, workerData } from "node:worker_threads";
import { type AgentTask, Fault, parseIpAddress, type TaskStream } from "@dyetrace/wire";
import { SharedControl } from "../data-plane/shared-control.ts";
import type { FromWorker, ToWorker, WorkerSetup } from "../data-plane/worker-protocol.ts";
import { WORKER_PROTOCOL } from "../data-plane/worker-protocol.ts";
import { KernelClock } from "../linux/clock.ts";
import { SystemCallError } from "../linux/libc.ts";
import { LinuxPacketOut } from "../linux/linux-packet-out.ts";
import type { PacketOut } from "./packet-out.ts";
import { SenderRun } from "./sender-run.ts";
import { StreamSource } from "./stream-source.ts";

/** Longest sleep, so that an abort or a silent controller is noticed in time. */
const LONGEST_SLEEP_NS = 50e6;

/** The sender's thread on Linux: sleeps in the kernel between due times and reads messages only between runs. */
class LinuxSender {
  readonly #port: MessagePort;
  readonly #setup: WorkerSetup;
  readonly #clock = new KernelClock();
  readonly #control: SharedControl;
  #task: AgentTask | null = null;
  #sources: StreamSource[] = [];

  constructor(port: MessagePort, setup: WorkerSetup) {
    this.#port = port;
    this.#setup = setup;
    this.#control = new SharedControl(setup.control);
    this.#clock.sharpenTimer();
    port.on("message", (message: ToWorker) => this.#take(message));
    this.#say({ kind: "ready", protocol: WORKER_PROTOCOL });
  }

  #take(message: ToWorker): void {
    switch (message.kind) {
      case "prepare":
        this.#prepare(message.id, message.task, message.senderIds);
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

  #prepare(id: number, task: AgentTask, senderIds: readonly number[]): void {
    this.#discard();
    try {
      const sent = task.streams.filter((stream) =>
        task.actions.some((action) => action.kind === "emit" && action.streamId === stream.streamId),
      );
      for (const [i, stream] of sent.entries()) {
        const identity = { runId: task.runId, senderId: senderIds[i] ?? 0, contact: this.#setup.contact };
        this.#sources.push(new StreamSource(stream, identity, this.#open, this.#now));
      }
      this.#task = task;
      this.#say({ kind: "done", id });
    } catch (cause) {
      this.#discard();
      const fault = cause instanceof Fault ? cause : socketRefused(cause);
      this.#say({ kind: "refused", id, code: fault.code, message: fault.message, hint: fault.hint });
    }
  }

  readonly #now = (): number => this.#clock.now();

  readonly #open = (stream: TaskStream, packet: Uint8Array, headBytes: number, capacity: number): PacketOut => {
    const group = parseIpAddress(stream.group);
    if (group === null) throw new Fault("ADDRESS_INVALID", `${stream.group} is no address`, "");
    const options = { interfaceIndex: this.#setup.interfaceIndex, ttl: stream.ttl, dscp: stream.dscp };
    try {
      return new LinuxPacketOut(group, stream.port, options, packet, headBytes, capacity);
    } catch (cause) {
      throw sendRefused(stream, this.#setup.interfaceName, cause);
    }
  };

  #run(startNs: number): void {
    if (this.#task === null) return;
    this.#clock.pair();
    const run = new SenderRun(
      {
        task: this.#task,
        sources: this.#sources,
        guards: this.#setup.guards,
        control: this.#control,
        clock: this.#now,
        onInterval: (part) => this.#say({ kind: "interval", part }),
        onRefused: (reason) => this.#say(troubleOf(reason)),
      },
      startNs,
      this.#clock.toWall(startNs),
    );
    while (!run.isOver) {
      const wakeNs = run.step();
      const nowNs = this.#clock.now();
      if (!run.isOver && wakeNs > nowNs) this.#clock.sleepUntil(Math.min(wakeNs, nowNs + LONGEST_SLEEP_NS));
    }
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

function troubleOf(reason: Error): FromWorker {
  const fault = reason instanceof Fault ? reason : new Fault("SEND_REFUSED", reason.message, "");
  return { kind: "trouble", code: fault.code, message: fault.message, hint: fault.hint };
}

function sendRefused(stream: TaskStream, interfaceName: string, cause: unknown): Fault {
  const why = cause instanceof SystemCallError ? cause.code : String(cause);
  const hint =
    why === "ENETUNREACH" || why === "EADDRNOTAVAIL"
      ? `Give ${interfaceName} an address of the group's family, or a route: ip route add multicast ${stream.group} dev ${interfaceName}.`
      : `Check that ${interfaceName} is up.`;
  return new Fault(
    "SEND_REFUSED",
    `Cannot send to ${stream.group} on ${interfaceName}: the kernel answered ${why}`,
    hint,
    {
      cause,
    },
  );
}

const socketRefused = (cause: unknown): Fault =>
  new Fault("SOCKET_REFUSED", `Cannot open the sockets of this task: ${String(cause)}`, "", { cause });

if (parentPort !== null) new LinuxSender(parentPort, workerData as WorkerSetup);
