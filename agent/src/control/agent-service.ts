import { randomBytes } from "node:crypto";
import {
  type AgentTask,
  type ClockEstimate,
  CONTROL_OLDEST_PROTOCOL,
  CONTROL_PROTOCOL,
  type ControllerMessage,
  Fault,
} from "@dyetrace/wire";
import type { Logger } from "pino";
import { VERSION } from "../about/version.ts";
import type { DataPlane } from "../data-plane/data-plane.ts";
import type { Watcher } from "../watcher/open-watcher.ts";
import type { KnownController } from "./ask-controller.ts";
import { ControllerLink } from "./controller-link.ts";
import { HostNotes } from "./host-notes.ts";
import { remainingTask } from "./remaining-task.ts";
import { ReportSender } from "./report-sender.ts";
import { ReportSpool } from "./report-spool.ts";
import { shiftReport } from "./shift-report.ts";

export interface AgentServiceOptions {
  readonly controller: KnownController;
  /** This host's credential, or the key that a controller on loopback has for all. */
  readonly key: string;
  readonly name: string;
  readonly dataPlane: DataPlane;
  readonly watcher: Watcher;
  readonly log: Logger;
  /** Where reports wait for their acknowledgement; this agent's alone. */
  readonly spoolFolder: string;
  readonly spoolMostBytes: number;
  /** What this process may not do, in sentences; null: it cannot be told. */
  readonly lacks: readonly string[] | null;
  /** Makes the controller's package the program of this agent's next start; null: this host does not allow it. */
  readonly upgrade: ((sha256: string, version: string) => Promise<void>) | null;
  readonly onUp?: () => void;
}

/** An agent at a controller's service: carries out one run after another until closed. */
export interface AgentService {
  /** Resolves when `close` was called, or to start anew as an upgraded program; rejects with the `Fault` when the controller will not have this agent. */
  readonly done: Promise<"closed" | "upgraded">;
  close(): Promise<void>;
}

/** What the agent is doing for its controller right now. */
type Duty =
  | { readonly kind: "idle" }
  | { readonly kind: "prepared"; readonly runId: string; readonly task: AgentTask }
  | Stint;

/** One uninterrupted piece of work in a run. */
interface Stint {
  readonly kind: "running";
  readonly runId: string;
  readonly stint: string;
  /** How long after the run's start its task began, and how many intervals that is. */
  readonly shiftNs: number;
  readonly shiftIntervals: number;
  nextNumber: number;
  isSourceStopped: boolean;
}

/** A task that is taken up again begins at a whole interval at least this far ahead: sockets must be opened first. */
const RESUME_LEAD_NS = 500e6;
/** How long a new connection may take to know the controller's clock. */
const CLOCK_WITHIN_MS = 5000;
/** For the answer to leave before the connection does. */
const UPGRADE_LEAD_MS = 300;

export function startAgentService(options: AgentServiceOptions): AgentService {
  const { dataPlane, watcher, log, name } = options;
  const spool = new ReportSpool({
    folder: options.spoolFolder,
    mostBytes: options.spoolMostBytes,
    onTrouble: (err) =>
      err === null
        ? log.info("reports are kept on disk again")
        : log.error({ err }, "the disk takes no reports; they wait in memory"),
  });
  const instance = randomBytes(8).toString("hex");
  let duty: Duty = { kind: "idle" };
  const link = new ControllerLink({
    controller: options.controller,
    log,
    hello: () => ({
      kind: "hello",
      runId: duty.kind === "idle" ? null : duty.runId,
      protocol: CONTROL_PROTOCOL,
      oldestProtocol: CONTROL_OLDEST_PROTOCOL,
      version: VERSION,
      name,
      key: options.key,
      instance,
      capabilities: { ...dataPlane.capabilities, watcher: watcher.inability === null },
      ...(options.lacks === null ? {} : { lacks: [...options.lacks] }),
      allowsUpgrade: options.upgrade !== null,
    }),
  });

  const sender = new ReportSender(spool, link);
  let resuming: Promise<void> = Promise.resolve();
  let notes: HostNotes | null = null;
  // One report after the other: a snapshot of the watcher is awaited, and reports must keep their order.
  let turn: Promise<void> = Promise.resolve();
  dataPlane.onInterval((report) => {
    turn = turn.then(async () => {
      if (duty.kind !== "running") return;
      const { runId, stint, shiftNs, shiftIntervals } = duty;
      duty.isSourceStopped ||= report.sourcesStopped?.why === "hold-time";
      const isFinal = report.totals !== null;
      const watch = await watcher.snapshot();
      notes?.seen(watch);
      const told = isFinal && notes !== null ? await notes.complete(report) : report;
      const number = duty.nextNumber++;
      const numbers = { firstNumber: number, lastNumber: number, droppedReports: 0 };
      const shifted = shiftReport(told, shiftNs, shiftIntervals);
      sender.add({ kind: "report", runId, stint, ...numbers, report: shifted, watch, isFinal });
      if (isFinal && duty.runId === runId) duty = { kind: "idle" };
    });
  });
  dataPlane.onTrouble((error) => {
    if (duty.kind === "idle") return;
    log.warn({ err: error, runId: duty.runId }, "trouble in the data plane");
    link.send({ kind: "trouble", runId: duty.runId, ...asRefusal(error) });
  });

  const prepare = async (message: Extract<ControllerMessage, { kind: "prepare" }>): Promise<void> => {
    const { runId, task } = message;
    if (duty.kind === "running") dataPlane.abort("the controller began another run");
    try {
      duty = { kind: "prepared", runId, task };
      await dataPlane.prepare(task);
      link.send({ kind: "prepared", runId, clock: link.clock() });
    } catch (error) {
      duty = { kind: "idle" };
      log.warn({ err: error, runId }, "run refused");
      link.send({ kind: "refused", runId, ...asRefusal(error) });
    }
  };
  const go = (message: Extract<ControllerMessage, { kind: "go" }>): void => {
    const clock = link.clock();
    if (duty.kind !== "prepared" || duty.runId !== message.runId || clock === null) return;
    const startMonotonicNs = message.startControllerNs - clock.offsetNs;
    begin(duty.task, startMonotonicNs, 0);
  };
  /** @param shiftNs how long after the run's start this task begins */
  const begin = (task: AgentTask, runStartNs: number, shiftNs: number): void => {
    const { runId, streams, intervalNs } = task;
    notes = new HostNotes(task, dataPlane.capabilities.interface.name);
    duty = {
      kind: "running",
      runId,
      stint: randomBytes(8).toString("hex"),
      shiftNs,
      shiftIntervals: Math.round(shiftNs / intervalNs),
      nextNumber: 1,
      isSourceStopped: false,
    };
    dataPlane.go(runStartNs + shiftNs);
    const watched = streams.filter(({ companionOf }) => companionOf === undefined);
    void watcher.watch({ runId, startMonotonicNs: runStartNs, streams: watched });
    dataPlane.finish().catch((error: unknown) => log.error({ err: error }, "the run did not finish"));
  };
  const resume = async ({ runId, task, startControllerNs }: Resume): Promise<void> => {
    try {
      if (duty.kind === "running") {
        if (duty.runId === runId && !duty.isSourceStopped) return; // at it all the time
        dataPlane.abort("the run is taken up again");
        await dataPlane.finish();
        await turn;
      }
      const clock = await clockOf(link);
      if (clock === null) throw new Fault("AGENT_CANNOT", "The controller's clock could not be told", "");
      const startNs = startControllerNs - clock.offsetNs;
      const fromNs = Number(process.hrtime.bigint()) - startNs + RESUME_LEAD_NS;
      const shiftNs = Math.ceil(Math.max(0, fromNs) / task.intervalNs) * task.intervalNs;
      if (shiftNs >= task.endNs) return;
      const rest = remainingTask(task, shiftNs);
      await dataPlane.prepare(rest);
      begin(rest, startNs, shiftNs);
      log.info({ runId, shiftNs }, "run taken up again");
    } catch (error) {
      duty = { kind: "idle" };
      log.warn({ err: error, runId }, "run not taken up again");
      link.send({ kind: "trouble", runId, ...asRefusal(error) });
    }
  };

  let hasUpgraded = (): void => {};
  const upgrade = async ({ sha256, version }: Extract<ControllerMessage, { kind: "upgrade" }>): Promise<void> => {
    const answer = (isDone: boolean, message: string, hint: string): void =>
      link.send({ kind: "upgrade-answer", isDone, message, hint });
    try {
      if (options.upgrade === null) throw new Fault("UPGRADE_REFUSED", "This host lets no controller upgrade it", "");
      if (duty.kind !== "idle") throw new Fault("RUN_BUSY", `${name} is busy with a run`, "Wait for its end");
      await options.upgrade(sha256, version);
      log.info({ version }, "upgraded; starting anew");
      answer(true, `${name} starts anew as version ${version}`, "");
      setTimeout(() => hasUpgraded(), UPGRADE_LEAD_MS);
    } catch (error) {
      log.warn({ err: error }, "not upgraded");
      const { message, hint } = asRefusal(error);
      answer(false, message, hint);
    }
  };

  link.on("message", (message) => {
    dataPlane.heard();
    switch (message.kind) {
      case "prepare":
        void prepare(message);
        break;
      case "go":
        go(message);
        break;
      case "resume":
        resuming = resuming.then(() => resume(message));
        break;
      case "abort":
        if (duty.kind !== "idle" && duty.runId === message.runId) dataPlane.abort(message.reason);
        break;
      case "upgrade":
        void upgrade(message);
        break;
      case "ack":
        sender.acknowledged(message.stint, message.lastNumber);
        break;
      default:
        break;
    }
  });
  link.on("up", () => {
    log.info({ controller: options.controller.url }, "connected");
    options.onUp?.();
    sender.linkUp();
  });
  link.on("doubted", (stint, lastNumber) => sender.acknowledged(stint, lastNumber));
  link.on("down", () => log.warn("connection to the controller lost"));

  const done = new Promise<"closed" | "upgraded">((resolve, reject) => {
    link.once("turnedAway", reject);
    link.once("closed", () => resolve("closed"));
    hasUpgraded = () => resolve("upgraded");
  });
  return {
    done,
    close: async () => {
      link.close();
      await dataPlane.close();
      await watcher.close();
      spool.close();
    },
  };
}

type Resume = Extract<ControllerMessage, { kind: "resume" }>;

/** The first exchanges follow right after the connection. */
async function clockOf(link: ControllerLink): Promise<ClockEstimate | null> {
  for (let waitedMs = 0; waitedMs < CLOCK_WITHIN_MS; waitedMs += 50) {
    const clock = link.clock();
    if (clock !== null) return clock;
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
  return null;
}

function asRefusal(error: unknown): {
  readonly code: string;
  readonly message: string;
  readonly hint: string;
} {
  if (error instanceof Fault) return { code: error.code, message: error.message, hint: error.hint };
  return {
    code: "INTERNAL",
    message: `The agent failed: ${String(error)}`,
    hint: "Please report this",
  };
}
