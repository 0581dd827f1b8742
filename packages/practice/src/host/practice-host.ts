import { type ChildProcess, spawn } from "node:child_process";
import type { Socket as DatagramSocket } from "node:dgram";
import type { Server } from "node:net";
import { fileURLToPath } from "node:url";
import { Fault } from "@dyetrace/wire";
import { explainHostFailure } from "./explain-host-failure.ts";
import type { ExecResult, PracticeProcess, SpawnOptions } from "./practice-process.ts";
import {
  type FromPracticeHost,
  PRACTICE_HOST_MARKER,
  PRACTICE_PROTOCOL,
  type PracticeHandle,
  type ToPracticeHost,
} from "./protocol.ts";
import { requireTool, toolPath } from "./require-tool.ts";

/**
 * The outer end of a practice host: a Node program that is the first process of its own process, mount and network
 * namespaces (and user namespace, unless we are root). Nothing of a site exists outside of them, so nothing can be left
 * behind: when the host ends, for whatever reason, the kernel ends every process inside and frees every network.
 */
export class PracticeHost {
  /** Resolves when the host has gone: null after `end`, else what it said last. */
  readonly gone: Promise<string | null>;
  readonly #child: ChildProcess;
  readonly #requests = new Map<number, OpenRequest>();
  readonly #processes = new Map<number, SpawnedProcess>();
  #lastWords = "";
  #isEnding = false;
  #nextId = 1;

  /** @throws {Fault} NEEDS_LINUX, NEEDS_TOOL, NEEDS_PRIVILEGE or PRACTICE_FAILED */
  static async start(site: { readonly id: string; readonly name: string }): Promise<PracticeHost> {
    if (process.platform !== "linux") {
      throw new Fault(
        "NEEDS_LINUX",
        `A practice site is built from Linux network namespaces, and this is ${process.platform}`,
        "Run it on Linux; a virtual machine will do",
      );
    }
    for (const tool of ["unshare", "mount", "ip", "bridge"] as const) requireTool(tool);
    const host = new PracticeHost(site);
    await host.#ready();
    return host;
  }

  private constructor(site: { readonly id: string; readonly name: string }) {
    const asPlainUser = process.getuid?.() === 0 ? [] : ["--user", "--map-root-user"];
    const main = fileURLToPath(new URL("./main.js", import.meta.url));
    const hostArgv = [process.execPath, main, PRACTICE_HOST_MARKER, site.id, site.name];
    const namespaces = ["--mount", "--net", "--pid", "--fork", "--kill-child"];
    this.#child = spawn("unshare", [...asPlainUser, ...namespaces, "--", "sh", "-c", ENTER, ...hostArgv], {
      env: { ...process.env, PATH: toolPath() },
      stdio: ["ignore", "ignore", "pipe", "ipc"],
      // A session of its own: an interrupt key in the terminal is for the outer process, which then ends the site in order.
      detached: true,
    });
    this.#child.stderr?.setEncoding("utf8").on("data", (text: string) => {
      this.#lastWords = (this.#lastWords + text).slice(-4_000);
    });
    this.#child.on("message", (message, handle) =>
      this.#hear(message as FromPracticeHost, (handle as PracticeHandle | undefined) ?? null),
    );
    this.gone = new Promise((resolve) => {
      this.#child.on("error", (error) => resolve(error.message));
      this.#child.on("close", (code, signal) => {
        const words = this.#lastWords.trim() || `it ended with ${signal ?? `exit code ${code}`}`;
        resolve(this.#isEnding ? null : words);
      });
    });
    void this.gone.then(() => this.#closeBooks());
  }

  /** Whether nothing more is to be started: it is told to end, or has gone. */
  get isEnding(): boolean {
    return this.#isEnding || !this.#child.connected;
  }

  /** @throws {Fault} PRACTICE_FAILED if there is no such program or the site has gone */
  async run(argv: readonly string[], stdin = "", env: Readonly<Record<string, string>> = {}): Promise<ExecResult> {
    const { message } = await this.#ask((id) => ({ kind: "run", id, argv, stdin, env }));
    if (message.kind !== "ran") throw unexpected(message);
    return { code: message.code, stdout: message.stdout, stderr: message.stderr };
  }

  /** @throws {Fault} PRACTICE_FAILED if there is no such program or the site has gone */
  async spawn(argv: readonly string[], options: SpawnOptions): Promise<PracticeProcess> {
    const { env = {}, cwd = null } = options;
    let spawned: SpawnedProcess | null = null;
    // Booked before the next message is heard, or the first lines would have no reader.
    const onReply = (message: FromPracticeHost): void => {
      if (message.kind !== "spawned") return;
      spawned = new SpawnedProcess(options);
      this.#processes.set(message.pid, spawned);
    };
    const { message } = await this.#ask((id) => ({ kind: "spawn", id, argv, env, cwd }), onReply);
    if (message.kind !== "spawned" || spawned === null) throw unexpected(message);
    const { pid } = message;
    return {
      pid,
      exit: (spawned as SpawnedProcess).exit,
      signal: (name) => {
        if (this.#processes.has(pid)) this.#send({ kind: "signal", pid, signal: name });
      },
    };
  }

  /** @returns a server that listens inside, and whose connections arrive here */
  async listen(address: string, port: number): Promise<Server> {
    const { message, handle } = await this.#ask((id) => ({ kind: "listen", id, address, port }));
    if (message.kind !== "listening" || handle === null) throw unexpected(message);
    return handle as Server;
  }

  /** @returns a UDP socket that is bound inside, and sends and receives in this process */
  async datagram(address: string): Promise<DatagramSocket> {
    const { message, handle } = await this.#ask((id) => ({ kind: "datagram", id, address }));
    if (message.kind !== "bound" || handle === null) throw unexpected(message);
    return handle as DatagramSocket;
  }

  /** Ends what runs inside, then the host. Safe to call again. */
  async end(): Promise<void> {
    this.#isEnding = true;
    this.#send({ kind: "end" });
    await this.gone;
  }

  async #ready(): Promise<void> {
    const ready = new Promise<FromPracticeHost>((resolve) =>
      this.#child.once("message", (m) => resolve(m as FromPracticeHost)),
    );
    const first = await Promise.race([ready, this.gone]);
    if (typeof first === "string" || first === null) throw explainHostFailure(first ?? "it ended");
    if (first.kind !== "ready" || first.protocol !== PRACTICE_PROTOCOL) throw unexpected(first);
  }

  #ask(
    compose: (id: number) => ToPracticeHost,
    onReply: (message: FromPracticeHost) => void = () => {},
  ): Promise<HostReply> {
    const id = this.#nextId++;
    return new Promise((resolve, reject) => {
      this.#requests.set(id, { resolve, reject, onReply });
      if (!this.#send(compose(id))) this.#refuse(id, "it has gone");
    });
  }

  #send(message: ToPracticeHost): boolean {
    if (!this.#child.connected) return false;
    this.#child.send(message, () => {}); // a channel that breaks shows as `gone`
    return true;
  }

  #hear(message: FromPracticeHost, handle: PracticeHandle | null): void {
    switch (message.kind) {
      case "ready":
        break;
      case "line":
        this.#processes.get(message.pid)?.onLine(message.line, message.stream);
        break;
      case "exited":
        this.#processes.get(message.pid)?.end(message.code, message.signal);
        this.#processes.delete(message.pid);
        break;
      case "failed":
        this.#refuse(message.id, message.message);
        break;
      case "ran":
      case "spawned":
      case "bound":
      case "listening": {
        const request = this.#requests.get(message.id);
        this.#requests.delete(message.id);
        request?.onReply(message);
        request?.resolve({ message, handle });
      }
    }
  }

  #refuse(id: number, reason: string): void {
    const request = this.#requests.get(id);
    this.#requests.delete(id);
    request?.reject(new Fault("PRACTICE_FAILED", `The practice site could not do it: ${reason}`, ""));
  }

  #closeBooks(): void {
    for (const id of [...this.#requests.keys()]) this.#refuse(id, "it has gone");
    for (const spawned of this.#processes.values()) spawned.end(null, "SIGKILL");
    this.#processes.clear();
  }
}

/**
 * Run inside the new namespaces before the host. `ip netns` keeps its names in /run/netns, which a plain user cannot
 * write, so /run becomes an empty place of our own. /proc shows the inside's processes where the kernel allows a new
 * one (some containers do not); nothing but the user's `ps` depends on it.
 */
const ENTER = 'mount -t tmpfs tmpfs /run && { mount -t proc proc /proc 2>/dev/null; exec "$0" "$@"; }';

interface HostReply {
  readonly message: FromPracticeHost;
  readonly handle: PracticeHandle | null;
}

interface OpenRequest {
  readonly resolve: (reply: HostReply) => void;
  readonly reject: (fault: Fault) => void;
  readonly onReply: (message: FromPracticeHost) => void;
}

class SpawnedProcess {
  readonly exit: PracticeProcess["exit"];
  readonly onLine: NonNullable<SpawnOptions["onLine"]>;
  #resolve: (outcome: Awaited<PracticeProcess["exit"]>) => void = () => {};

  constructor({ onLine }: SpawnOptions) {
    this.onLine = onLine ?? (() => {});
    this.exit = new Promise((resolve) => {
      this.#resolve = resolve;
    });
  }

  end(code: number | null, signal: string | null): void {
    this.#resolve({ code, signal });
  }
}

/** A bug of ours: both ends are of one build. */
const unexpected = (message: FromPracticeHost): Error =>
  new Error(`The practice host said ${message.kind} out of turn`);
