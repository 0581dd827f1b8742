import type { AgentCapabilities, AgentTask, Fault, Guards, IntervalReport } from "@dyetrace/wire";

/** What this host's own file says of what is sent and joined. */
export interface HostLimits {
  readonly guards: Guards;
  /** Whom to ask about the traffic; stands in every packet. ASCII. */
  readonly contact: string;
}

export interface DataPlaneOptions extends HostLimits {
  /** Always named: on a host with several interfaces a guess would test the wrong network. */
  readonly interfaceName: string;
  /** Draws the 32-bit number that tells two starts of a source apart. */
  readonly drawSenderId: () => number;
  /** `auto` (the default) takes Linux sockets where libc can be loaded. */
  readonly sockets?: "auto" | "linux" | "portable";
}

/**
 * Sends and listens for one run after another: `prepare`, `go`, then `finish` or `abort`, then the next `prepare`.
 * Packets move in worker threads; this object lives in the main thread.
 */
export interface DataPlane {
  readonly capabilities: AgentCapabilities;
  /**
   * Opens and binds sockets and lays out packets; nothing is joined or sent.
   * @throws {Fault} GUARD_REFUSED, AGENT_CANNOT, ADDRESS_INVALID, SOCKET_REFUSED
   */
  prepare(task: AgentTask): Promise<void>;
  /** @param startMonotonicNs the run's start on CLOCK_MONOTONIC (`process.hrtime`), ns; best a little in the future */
  go(startMonotonicNs: number): void;
  /** Called once per interval, in order, and for the last one with `totals` just before `finish` resolves. */
  onInterval(listener: (report: IntervalReport) => void): void;
  /** Called when a join, a send or a worker fails after `go`; the run goes on. */
  onTrouble(listener: (fault: unknown) => void): void;
  /**
   * From now on these limits hold, for what is prepared or on too.
   * @returns why that may not go on, if so: whoever asks ends it
   */
  limit(limits: HostLimits): Fault | null;
  /** The controller is alive. Sources that do not hear this for the task's hold time stop by themselves. */
  heard(): void;
  /** Every source stops within 100 ms and every group is left. Reports that are due still come; `finish` resolves. */
  abort(reason: string): void;
  /** @returns the last report, with totals, once the task's end has passed or after `abort` */
  finish(): Promise<IntervalReport>;
  /** Aborts what runs and ends the threads. Idempotent. */
  close(): Promise<void>;
}
