import { randomBytes } from "node:crypto";
import { AGENT_OLDEST_PROTOCOL, CONTROL_PROTOCOL, type ControllerMessage, Fault } from "@dyetrace/wire";
import type { Logger } from "pino";
import { VERSION } from "../about/version.ts";
import { watchHostStop } from "../config/host-stop.ts";
import type { DataPlane, HostLimits } from "../data-plane/data-plane.ts";
import { letGoOfFilePages } from "../process/file-pages.ts";
import { MemoryKeeper } from "../process/memory-keeper.ts";
import type { Watcher } from "../watcher/open-watcher.ts";
import { AgentDuty } from "./agent-duty.ts";
import { asRefusal } from "./as-refusal.ts";
import type { KnownController } from "./ask-controller.ts";
import { ConductorFence } from "./conductor-fence.ts";
import { ControllerLink } from "./controller-link.ts";
import type { HostKeys } from "./host-keys.ts";
import { LimitChange } from "./limit-change.ts";
import { ReportSender } from "./report-sender.ts";
import { handOverHeaders } from "./sights/header-hand-over.ts";
import { LookTask } from "./sights/look-task.ts";
import { SurroundingsTeller } from "./sights/surroundings-teller.ts";
import { ReportSpool } from "./spool/report-spool.ts";

export interface AgentServiceOptions {
  /** One, or those of one estate in the order in which they are tried. */
  readonly controllers: readonly KnownController[];
  /** This host's credentials, or the key that a controller on loopback has for all. */
  readonly keys: HostKeys;
  readonly name: string;
  readonly dataPlane: DataPlane;
  readonly watcher: Watcher;
  readonly log: Logger;
  /** Where reports wait for their acknowledgement; this agent's alone. */
  readonly spoolFolder: string;
  /** Where `dyetrace-agent stop` says that nothing may be sent. */
  readonly dataFolder: string;
  readonly spoolMostBytes: number;
  /** What this process may not do, in sentences; null: it cannot be told. */
  readonly lacks: readonly string[] | null;
  /** Makes the controller's package the program of this agent's next start; null: this host does not allow it. */
  readonly upgrade: (() => Promise<string>) | null;
  readonly onUp?: () => void;
  readonly onDown?: () => void;
}

/** An agent at a controller's service: carries out one run after another until closed. */
export interface AgentService {
  /** Resolves when `close` was called, or to start anew as an upgraded program; rejects with the `Fault` when the controller will not have this agent. */
  readonly done: Promise<"closed" | "upgraded">;
  /** The host's file was read again: from now on its limits hold, for a run that is on as well. */
  limit(to: HostLimits): void;
  close(): Promise<void>;
}

/** Since this protocol a controller knows what surroundings are. */
const SURROUNDINGS_SINCE = 11;
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
  const fence = new ConductorFence();
  const link = new ControllerLink({
    controllers: options.controllers,
    log,
    hello: () => ({
      kind: "hello",
      runId: duty.runId,
      protocol: CONTROL_PROTOCOL,
      oldestProtocol: AGENT_OLDEST_PROTOCOL,
      version: VERSION,
      name,
      key: options.keys.key,
      instance,
      capabilities: { ...dataPlane.capabilities, watcher: watcher.inability === null },
      ...(options.lacks === null ? {} : { lacks: [...options.lacks] }),
      allowsUpgrade: options.upgrade !== null,
    }),
    hasOtherKey: () => options.keys.nextKey(),
  });

  const sender = new ReportSender(spool, link);
  const hostStop = watchHostStop(options.dataFolder, () => {
    log.warn("stopped on this host: whatever it is busy with ends");
    duty.stop();
  });
  const duty: AgentDuty = new AgentDuty({
    ...{ dataPlane, watcher, log, link, sender, hostStop },
    onPrepared: letGoOfFilePages,
  });

  const looks = new LookTask(watcher, dataPlane.capabilities.interface.name, (message) => link.send(message));

  const surroundings = new SurroundingsTeller(dataPlane.capabilities.interface.name, (told) => {
    if (link.at.protocol >= SURROUNDINGS_SINCE) link.send({ kind: "surroundings", surroundings: told });
  });

  let hasUpgraded = (): void => {};
  const upgrade = async (): Promise<void> => {
    const answer = (isDone: boolean, message: string, hint: string): void =>
      link.send({ kind: "upgrade-answer", isDone, message, hint });
    try {
      if (options.upgrade === null) throw new Fault("UPGRADE_REFUSED", "This host lets no controller upgrade it", "");
      if (duty.runId !== null) throw new Fault("RUN_BUSY", `${name} is busy with a run`, "Wait for its end");
      const version = await options.upgrade();
      log.info({ version }, "upgraded; starting anew");
      answer(true, `${name} starts anew as version ${version}`, "");
      setTimeout(() => hasUpgraded(), UPGRADE_LEAD_MS);
    } catch (error) {
      log.warn({ err: error }, "not upgraded");
      const { message, hint } = asRefusal(error);
      answer(false, message, hint);
    }
  };

  const renew = ({ credential, until }: Extract<ControllerMessage, { kind: "credential" }>): void => {
    const [id = ""] = credential.split(".");
    try {
      options.keys.renew(credential, until);
      log.info({ until }, "this host's credential was renewed");
      link.send({ kind: "credential-answer", id, isKept: true, message: "" });
    } catch (err) {
      log.warn({ err }, "this host's credential could not be renewed; the one that it has holds on");
      link.send({ kind: "credential-answer", id, isKept: false, message: asRefusal(err).message });
    }
  };

  const memory = new MemoryKeeper(() => duty.runId === null);
  const limits = new LimitChange({ dataPlane, duty, link, log });

  /** Whether it is an order of a controller that another one has followed since. */
  const isRefused = (message: ControllerMessage): boolean => {
    if (!("epoch" in message) || fence.admits(message.runId, message.epoch)) return false;
    const { kind, runId, epoch } = message;
    log.warn({ kind, runId, epoch }, "an order was refused: another controller conducts this run by now");
    const told = `It was told to ${kind} by a controller that no longer conducts the run`;
    link.send({ kind: "trouble", runId, code: "RUN_ELSEWHERE", message: told, hint: "" });
    return true;
  };

  const take = (message: ControllerMessage): void => {
    switch (message.kind) {
      case "prepare":
        duty.prepare(message);
        break;
      case "go":
        duty.go(message);
        break;
      case "resume":
        duty.resume(message);
        break;
      case "abort":
        duty.abort(message);
        break;
      case "beat":
        fence.heard(message);
        break;
      case "move":
        link.moveTo(message.to);
        break;
      case "look":
        looks.begin(message);
        break;
      case "gather":
        void handOverHeaders(message, watcher, (answer) => link.send(answer));
        break;
      case "upgrade":
        void upgrade();
        break;
      case "credential":
        renew(message);
        break;
      case "ack":
        sender.acknowledged(message.stint, message.lastNumber);
        break;
      case "stored":
        sender.stored(message.runId, new Map(message.stints.map(({ stint, lastNumber }) => [stint, lastNumber])));
        break;
      default:
        break;
    }
  };
  link.on("message", (message) => {
    // Whatever a controller says, in whatever order: this program goes on, and its sources do not go on alone.
    try {
      if (isRefused(message)) return;
      take(message);
      if (fence.counts(duty.runId, link.at.protocol)) dataPlane.heard();
    } catch (err) {
      log.error({ err, kind: message.kind }, "this agent failed on a message of its controller; its sources stop");
      dataPlane.abort("the agent failed on a message of its controller");
      if (duty.runId !== null) link.send({ kind: "trouble", runId: duty.runId, ...asRefusal(err) });
    }
  });
  link.on("up", () => {
    options.keys.welcomed();
    log.info({ controller: link.at.url }, "connected");
    try {
      options.onUp?.();
    } catch (err) {
      log.warn({ err }, "that this program reached its controller could not be noted");
    }
    surroundings.tell();
    try {
      sender.linkUp();
    } catch (err) {
      log.error({ err }, "reports that wait could not be sent");
    }
  });
  link.on("doubted", (stint, lastNumber) => sender.refused(stint, lastNumber));
  link.on("down", () => {
    fence.newLink();
    log.warn("connection to the controller lost");
    options.onDown?.();
  });

  const done = new Promise<"closed" | "upgraded">((resolve, reject) => {
    link.once("turnedAway", reject);
    link.once("closed", () => resolve("closed"));
    hasUpgraded = () => resolve("upgraded");
  });
  return {
    done,
    limit: (to) => limits.take(to),
    close: async () => {
      limits.close();
      memory.close();
      hostStop[Symbol.dispose]();
      looks.close();
      surroundings.close();
      link.close();
      await dataPlane.close();
      await watcher.close();
      spool.close();
    },
  };
}
