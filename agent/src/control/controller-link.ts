import { EventEmitter } from "node:events";
import { PinnedAgent } from "@dyetrace/pin";
import {
  AGENT_LINK_PATH,
  AGENT_OLDEST_PROTOCOL,
  type AgentMessage,
  type ClockEstimate,
  CONTROL_MAX_BYTES,
  CONTROL_PROTOCOL,
  type ControllerMessage,
  ControllerMessageSchema,
  commonProtocol,
  Fault,
  faultCodeOf,
  isOfKnownKind,
  parseMessage,
} from "@dyetrace/wire";
import type { Logger } from "pino";
import { WebSocket } from "ws";
import type { KnownController } from "./ask-controller.ts";
import { ClockFilter } from "./clock-filter.ts";
import { ControllerAddresses } from "./controller-addresses.ts";
import { PASSING } from "./passing-refusals.ts";
import { writtenReport } from "./spool/written-report.ts";

export interface LinkEvents {
  /** Connected and welcomed. */
  up: [];
  down: [];
  message: [ControllerMessage];
  /** The controller will not have this report, and never will. */
  doubted: [stint: string, lastNumber: number];
  /** The controller will not have this agent; the link does not try again. */
  turnedAway: [Fault];
  /** `close` was called; nothing more will come. */
  closed: [];
}

export interface LinkOptions {
  /** At least one; of several each is tried in its turn. */
  readonly controllers: readonly KnownController[];
  /** Made anew for every connection. */
  readonly hello: () => Extract<AgentMessage, { kind: "hello" }>;
  /** Called where the controller does not know the key of the last hello: whether the next one bears another. */
  readonly hasOtherKey: () => boolean;
  readonly log: Logger;
}

const CLOCK_EVERY_MS = 1000;
/** The first exchanges come fast, so that a run can start soon after connecting. */
const CLOCK_BURST_MS = 50;
const CLOCK_BURST_COUNT = 8;
/** A controller speaks every second; this long without a word and the connection is taken for dead. */
const SILENT_AFTER_MS = 8000;
const monotonicNs = (): number => Number(process.hrtime.bigint());

/** The agent's one connection to its controller: opened by the agent, kept open, reopened after a loss. */
export class ControllerLink extends EventEmitter<LinkEvents> {
  readonly #options: LinkOptions;
  readonly #addresses: ControllerAddresses;
  #clock = new ClockFilter();
  readonly #asked = new Map<number, number>();
  #socket: WebSocket | null = null;
  #isUp = false;
  #isClosed = false;
  #retryTimer: NodeJS.Timeout | undefined;
  #nextAsk = 1;
  #protocol = 0;
  /** Of the controller whose clock is known. */
  #instance: string | null = null;
  #told = "";

  constructor(options: LinkOptions) {
    super();
    this.#options = options;
    this.#addresses = new ControllerAddresses(options.controllers);
    this.#open();
  }

  get isUp(): boolean {
    return this.#isUp;
  }

  /** Where it is connected, or tries to; and what both sides speak, 0 before the first welcome. */
  get at(): { readonly url: string; readonly protocol: number } {
    return { url: this.#addresses.now.url, protocol: this.#protocol };
  }

  /** Leaves this controller for another one, where there are other addresses. */
  moveTo(instance: string): void {
    if (!this.#addresses.areSeveral || instance === this.#instance) return;
    this.#addresses.want(instance);
    this.#socket?.close(1000);
  }

  /** Says hello anew: what it says of this agent has changed. */
  renew(): void {
    if (this.#isUp) this.#socket?.close(1000);
  }

  clock(): ClockEstimate | null {
    return this.#clock.estimate();
  }

  /** Sends if connected; otherwise the message is dropped, and whoever needs it sent sends it again on `up`. */
  send(message: AgentMessage): void {
    if (this.#isUp) this.#write(message);
  }

  close(): void {
    this.#isClosed = true;
    clearTimeout(this.#retryTimer);
    this.#socket?.close(1000);
    this.emit("closed");
  }

  #write(message: AgentMessage): void {
    if (this.#socket?.readyState !== WebSocket.OPEN) return;
    this.#socket.send(JSON.stringify(message.kind === "report" ? writtenReport(message) : message));
  }

  #open(): void {
    const { url: base, pin } = this.#addresses.now;
    const url = new URL(AGENT_LINK_PATH, base);
    url.protocol = url.protocol === "https:" ? "wss:" : "ws:";
    const socket = new WebSocket(url, {
      maxPayload: CONTROL_MAX_BYTES,
      handshakeTimeout: 5000,
      ...(url.protocol === "wss:" && pin !== null ? { agent: new PinnedAgent(pin) } : {}),
    });
    this.#socket = socket;
    let heardNs = monotonicNs();
    let asks = 0;
    let clockTimer: NodeJS.Timeout | undefined;
    const watchTimer = setInterval(() => {
      if (monotonicNs() - heardNs > SILENT_AFTER_MS * 1e6) socket.terminate();
    }, 1000);
    const askClock = (): void => {
      const id = this.#nextAsk++;
      this.#asked.set(id, monotonicNs());
      this.#write({ kind: "clock-ask", id });
      clockTimer = setTimeout(askClock, ++asks < CLOCK_BURST_COUNT ? CLOCK_BURST_MS : CLOCK_EVERY_MS);
    };
    socket.on("open", () => this.#write(this.#options.hello()));
    socket.on("message", (data) => {
      heardNs = monotonicNs();
      let message: ControllerMessage;
      try {
        const value: unknown = JSON.parse(String(data));
        if (!isOfKnownKind(value, ControllerMessageSchema)) return; // a newer controller's
        message = parseMessage(ControllerMessageSchema, value, "The controller's message");
      } catch (err) {
        this.#options.log.error({ err }, "message of the controller not understood");
        socket.close(1008);
        return;
      }
      switch (message.kind) {
        case "clock-answer":
          this.#recordClock(message.id, message.controllerNs, heardNs);
          break;
        case "turned-away":
          this.#turnedAway(message);
          break;
        case "welcome":
          if (commonProtocol(message.protocol, message.protocol, AGENT_OLDEST_PROTOCOL) === null) {
            this.#tellOnce(`The controller (version ${message.version}) speaks control protocol ${message.protocol}`);
            socket.close(1008);
            return;
          }
          if (!this.#addresses.isWanted(message.instance)) {
            socket.close(1000);
            return;
          }
          this.#protocol = Math.min(message.protocol, CONTROL_PROTOCOL);
          this.#knowClockOf(message.instance);
          this.#isUp = true;
          this.#told = "";
          askClock();
          this.emit("up");
          break;
        default:
          break;
      }
      this.emit("message", message);
    });
    socket.on("error", (err) => {
      if (err instanceof Fault) this.#tellOnce(`${err.message}. ${err.hint}`);
      else this.#options.log.debug({ err }, "control link error");
    });
    socket.on("close", () => {
      clearInterval(watchTimer);
      clearTimeout(clockTimer);
      this.#asked.clear();
      if (this.#isUp) {
        this.#isUp = false;
        this.emit("down");
      }
      if (this.#isClosed) return;
      this.#retryTimer = setTimeout(() => this.#open(), this.#addresses.next());
    });
  }

  /** Each controller has a clock of its own. @param instance undefined: an earlier version, which does not say */
  #knowClockOf(instance: string | undefined): void {
    const isSame = instance === undefined ? !this.#addresses.areSeveral : instance === this.#instance;
    if (!isSame) this.#clock = new ClockFilter();
    this.#instance = instance ?? null;
  }

  #recordClock(id: number, controllerNs: number, answeredNs: number): void {
    const askedNs = this.#asked.get(id);
    if (askedNs === undefined) return;
    this.#asked.delete(id);
    this.#clock.record(askedNs, controllerNs, answeredNs);
  }

  /** The same sentence at every try would bury the rest of the log. */
  #tellOnce(sentence: string): void {
    if (this.#told === sentence) return;
    this.#told = sentence;
    this.#options.log.warn(sentence);
  }

  #turnedAway(message: Extract<ControllerMessage, { kind: "turned-away" }>): void {
    if (PASSING.has(faultCodeOf(message.code))) {
      this.#tellOnce(`${message.message}. ${message.hint}`);
      if (message.report !== undefined) this.emit("doubted", message.report.stint, message.report.lastNumber);
      return;
    }
    if (message.code === "NOT_AUTHORISED" && this.#options.hasOtherKey()) {
      this.#tellOnce(`${message.message}. Trying the credential that this host had before`);
      return;
    }
    if (!this.#addresses.refused()) {
      this.#tellOnce(`${message.message} (${this.at.url})`);
      return;
    }
    this.#isClosed = true;
    this.emit("turnedAway", new Fault(faultCodeOf(message.code), message.message, message.hint));
  }
}
