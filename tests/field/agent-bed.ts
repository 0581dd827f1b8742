import { fileURLToPath } from "node:url";
import type { StreamReceipt } from "@dyetrace/measure";
import type { PracticeProcess, PracticeSite } from "@dyetrace/practice";
import type {
  AgentCapabilities,
  AgentTask,
  Guards,
  IntervalReport,
  ListenerInterval,
  SenderInterval,
  TaskAction,
  TaskStream,
} from "@dyetrace/wire";

/** Runs data planes inside a practice site and collects what they report. */
export interface HostOrder {
  readonly task: AgentTask;
  readonly guards?: Partial<Guards>;
  readonly sockets?: "linux" | "portable";
  readonly senderId?: number;
  /** Nobody tells this data plane that its controller is alive. */
  readonly isSilent?: boolean;
  /** The main thread hangs this long right after `go`. */
  readonly blockMainMs?: number;
}

type HostLine =
  | { readonly kind: "capabilities"; readonly capabilities: AgentCapabilities }
  | { readonly kind: "interval"; readonly report: IntervalReport }
  | { readonly kind: "going"; readonly startNs: number }
  | { readonly kind: "trouble"; readonly code: string; readonly message: string }
  | { readonly kind: "refused"; readonly code: string; readonly message: string };

const WAIT_MS = 60_000;

export class AgentHost {
  readonly lines: HostLine[] = [];
  readonly #name: string;
  #process: PracticeProcess | null = null;
  readonly #waiting = new Set<() => void>();

  private constructor(name: string) {
    this.#name = name;
  }

  static async start(site: PracticeSite, node: string, order: HostOrder): Promise<AgentHost> {
    const host = new AgentHost(node);
    const script = fileURLToPath(new URL("agent-host.mjs", import.meta.url));
    const full = { sockets: "linux", senderId: 1, isSilent: false, blockMainMs: 0, ...order };
    const words = {
      ...full,
      interfaceName: site.addressOf(node).interfaceName,
      guards: { allowSending: true, ...order.guards },
    };
    host.#process = await site.spawn(node, [process.execPath, script, JSON.stringify(words)], {
      onLine: (line, stream) => host.#take(line, stream),
    });
    void host.#process.exit.then(() => host.#wake());
    return host;
  }

  get reports(): IntervalReport[] {
    return this.lines.flatMap((line) => (line.kind === "interval" ? [line.report] : []));
  }

  signal(name: NodeJS.Signals): void {
    this.#process?.signal(name);
  }

  /** Waits for a line that fits. @throws when the host refuses its task or ends first */
  async until<T>(what: string, look: (line: HostLine) => T | null): Promise<T> {
    const deadline = Date.now() + WAIT_MS;
    let isOver = false;
    void this.#process?.exit.then(() => {
      isOver = true;
    });
    for (let at = 0; ; ) {
      for (; at < this.lines.length; at++) {
        const line = this.lines[at];
        if (line === undefined) continue;
        const found = look(line);
        if (found !== null) return found;
        if (line.kind === "refused") throw new Error(`${this.#name}: ${line.code} ${line.message}`);
      }
      if (isOver || Date.now() > deadline)
        throw new Error(`${this.#name}: no ${what}, but ${JSON.stringify(this.lines.slice(-3))}`);
      await new Promise<void>((resolve) => {
        const timer = setTimeout(resolve, 500);
        this.#waiting.add(() => {
          clearTimeout(timer);
          resolve();
        });
      });
    }
  }

  joined(streamId = 0): Promise<true> {
    return this.until("join", (line) => {
      if (line.kind !== "interval") return null;
      const listener = line.report.listeners.find((one) => one.streamId === streamId);
      return listener !== undefined && listener.memberships.length > 0 ? true : null;
    });
  }

  last(): Promise<IntervalReport> {
    return this.until("last report", (line) =>
      line.kind === "interval" && line.report.totals !== null ? line.report : null,
    );
  }

  /** Ends the run at once. @returns its last report */
  end(): Promise<IntervalReport> {
    this.signal("SIGUSR2");
    return this.last();
  }

  #take(line: string, stream: "stdout" | "stderr"): void {
    if (stream === "stderr") process.stderr.write(`${this.#name}: ${line}\n`);
    else this.lines.push(JSON.parse(line) as HostLine);
    this.#wake();
  }

  #wake(): void {
    for (const wake of this.#waiting) wake();
    this.#waiting.clear();
  }
}

export const streamTo = (group: string, changes: Partial<TaskStream> = {}): TaskStream => ({
  streamId: 0,
  name: "stream",
  group,
  port: 48_620,
  ssmSource: null,
  rateBps: 1e6,
  payloadBytes: 500,
  ttl: 1,
  dscp: 0,
  burstPackets: 1,
  ...changes,
});

const BASE = { runId: "0123456789abcdef", intervalNs: 5e8, holdNs: 60e9 };

/** Joins all streams at once and stays until it is ended. */
export const listenTask = (streams: readonly TaskStream[]): AgentTask => ({
  ...BASE,
  streams: [...streams],
  actions: streams.map(({ streamId }) => ({ atNs: 0, kind: "join", streamId })),
  endNs: 120e9,
});

/** Sends all streams for that long. */
export const sendTask = (
  streams: readonly TaskStream[],
  seconds: number,
  changes: Partial<AgentTask> = {},
): AgentTask => {
  const act = (atNs: number, kind: TaskAction["kind"]): TaskAction[] =>
    streams.map(({ streamId }) => ({ atNs, kind, streamId }));
  return {
    ...BASE,
    streams: [...streams],
    actions: [...act(0, "emit"), ...act(seconds * 1e9, "stop")],
    endNs: (seconds + 0.2) * 1e9,
    ...changes,
  };
};

export interface ListenerTotal extends Omit<ListenerInterval, "receipt"> {
  readonly receipt: StreamReceipt | null;
}

export function listenerOf(report: IntervalReport, streamId = 0): ListenerTotal {
  const found = report.totals?.listeners.find((one) => one.streamId === streamId);
  if (found === undefined) throw new Error(`No listener of stream ${streamId}`);
  return found as ListenerTotal;
}

/** @throws if nothing was received */
export function receiptOf(report: IntervalReport, streamId = 0): StreamReceipt {
  const { receipt } = listenerOf(report, streamId);
  if (receipt === null || receipt.received === 0) throw new Error(`Stream ${streamId} was not received`);
  return receipt;
}

export function senderOf(report: IntervalReport, streamId = 0): SenderInterval {
  const found = report.totals?.senders.find((one) => one.streamId === streamId);
  if (found === undefined) throw new Error(`No source of stream ${streamId}`);
  return found;
}
