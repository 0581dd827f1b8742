import { type ChildProcess, spawn } from "node:child_process";
import { createSocket } from "node:dgram";
import { createServer, type Server } from "node:net";
import { createInterface } from "node:readline";
import { type FromPracticeHost, PRACTICE_PROTOCOL, type PracticeHandle, type ToPracticeHost } from "./protocol.ts";

/** How long processes have to end by themselves after SIGTERM. */
const GRACE_MS = 3_000;

/** Does what the outer process asks, and no more: what a practice site consists of is decided out there. */
export class PracticeHostProgram {
  readonly #spawned = new Map<number, ChildProcess>();

  start(): void {
    process.on("disconnect", () => process.exit(0));
    process.on("message", (message) => this.#obey(message as ToPracticeHost));
    this.#say({ kind: "ready", protocol: PRACTICE_PROTOCOL });
  }

  #say(message: FromPracticeHost, handle?: PracticeHandle, onSent?: () => void): void {
    // The channel may close between two messages; the "disconnect" event then ends this process.
    // Node passes UDP sockets as well (its `advanced` handles); its types name TCP's only.
    process.send?.(message, handle as Server | undefined, {}, () => onSent?.());
  }

  #obey(message: ToPracticeHost): void {
    switch (message.kind) {
      case "run":
        this.#run(message);
        break;
      case "spawn":
        this.#spawn(message);
        break;
      case "signal":
        signalGroup(message.pid, message.signal);
        break;
      case "listen":
        this.#listen(message);
        break;
      case "datagram":
        this.#bind(message);
        break;
      case "end":
        this.#end();
    }
  }

  #run({ id, argv, stdin, env }: Extract<ToPracticeHost, { kind: "run" }>): void {
    const [program = "", ...parameters] = argv;
    const child = spawn(program, parameters, { env: { ...process.env, ...env } });
    let [stdout, stderr] = ["", ""];
    child.stdout.setEncoding("utf8").on("data", (text: string) => {
      stdout += text;
    });
    child.stderr.setEncoding("utf8").on("data", (text: string) => {
      stderr += text;
    });
    child.on("error", (error) => this.#say({ kind: "failed", id, message: error.message }));
    child.on("close", (code) => {
      if (child.pid !== undefined) this.#say({ kind: "ran", id, code, stdout, stderr });
    });
    child.stdin.on("error", () => {}); // it may end without reading its input; its exit code tells
    child.stdin.end(stdin);
  }

  #spawn({ id, argv, env, cwd }: Extract<ToPracticeHost, { kind: "spawn" }>): void {
    const [program = "", ...parameters] = argv;
    // A process group of its own, so that a signal reaches what it starts in turn.
    const child = spawn(program, parameters, {
      env: { ...process.env, ...env },
      stdio: ["ignore", "pipe", "pipe"],
      detached: true,
      ...(cwd === null ? {} : { cwd }),
    });
    const { pid } = child;
    child.on("error", (error) => this.#say({ kind: "failed", id, message: error.message }));
    if (pid === undefined) return;
    this.#spawned.set(pid, child);
    this.#say({ kind: "spawned", id, pid });
    for (const stream of ["stdout", "stderr"] as const) {
      createInterface({ input: child[stream] }).on("line", (line) => this.#say({ kind: "line", pid, stream, line }));
    }
    child.on("close", (code, signal) => {
      this.#spawned.delete(pid);
      this.#say({ kind: "exited", pid, code, signal });
    });
  }

  #listen({ id, address, port }: Extract<ToPracticeHost, { kind: "listen" }>): void {
    const server = createServer();
    server.on("error", (error) => this.#say({ kind: "failed", id, message: error.message }));
    // Once the other side has it, this side must let go of it, or both would take connections.
    server.listen({ host: address, port }, () => this.#say({ kind: "listening", id }, server, () => server.close()));
  }

  #bind({ id, address }: Extract<ToPracticeHost, { kind: "datagram" }>): void {
    const socket = createSocket("udp4");
    socket.on("error", (error) => this.#say({ kind: "failed", id, message: error.message }));
    // Only one of the two may read from it.
    socket.bind(0, address, () => this.#say({ kind: "bound", id }, socket, () => socket.close()));
  }

  #end(): void {
    for (const pid of this.#spawned.keys()) {
      signalGroup(pid, "SIGTERM");
      signalGroup(pid, "SIGCONT"); // a stopped process would never see the first
    }
    const leave = (): never => process.exit(0);
    const waiting = [...this.#spawned.values()].map((child) => new Promise((resolve) => child.once("close", resolve)));
    void Promise.all(waiting).then(leave);
    setTimeout(leave, GRACE_MS);
  }
}

function signalGroup(pid: number, signal: NodeJS.Signals): void {
  try {
    process.kill(-pid, signal);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== "ESRCH") throw error;
  }
}
