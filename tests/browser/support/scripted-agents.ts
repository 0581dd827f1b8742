import { randomBytes } from "node:crypto";
import {
  AGENT_LINK_PATH,
  type AgentCapabilities,
  type AgentMessage,
  type AgentTask,
  CONTROL_PROTOCOL,
  ControllerMessageSchema,
  DEFAULT_GUARDS,
  type IntervalReport,
  parseAs,
  type StreamReceiptMessage,
  shortenReport,
} from "@dyetrace/wire";
import { WebSocket } from "ws";

/**
 * Agents that speak the real control protocol to a real controller, and report what a script says instead of what a
 * network did: a hundred of them fit into one process.
 */
export interface ScriptedAgents extends AsyncDisposable {
  readonly names: readonly string[];
}

/** What one listener gets of one stream in one second. */
export interface ScriptedSecond {
  readonly received: number;
  readonly lost: number;
}

export type Script = (agent: string, streamId: number, second: number) => ScriptedSecond;

export async function connectScriptedAgents(options: {
  readonly controllerUrl: string;
  readonly key: string;
  readonly names: readonly string[];
  readonly script: Script;
}): Promise<ScriptedAgents> {
  const agents = await Promise.all(options.names.map((name) => connect(name, options)));
  return {
    names: options.names,
    [Symbol.asyncDispose]: async () => {
      for (const close of agents) close();
    },
  };
}

const SECOND_NS = 1e9;
const TICK_MS = 200;

function connect(
  name: string,
  { controllerUrl, key, script }: Parameters<typeof connectScriptedAgents>[0],
): Promise<() => void> {
  const socket = new WebSocket(new URL(AGENT_LINK_PATH, controllerUrl.replace(/^http/, "ws")));
  /** Reports as an agent writes them, without what is at rest. */
  const send = (message: AgentMessage): void => {
    const short = message.kind === "report" ? { ...message, report: shortenReport(message.report) } : message;
    if (socket.readyState === socket.OPEN) socket.send(JSON.stringify(short));
  };
  let task: AgentTask | null = null;
  let timer: NodeJS.Timeout | null = null;
  const asking = setInterval(() => send({ kind: "clock-ask", id: 1 }), 1000);
  const stop = (): void => {
    if (timer !== null) clearInterval(timer);
    timer = null;
  };
  const begin = (runId: string, doing: AgentTask): void => {
    const stint = randomBytes(8).toString("hex");
    const seconds = Math.ceil(doing.endNs / SECOND_NS);
    const startedMs = performance.now();
    let second = 0;
    // Every second that has passed is told, however late the timer comes on a busy machine.
    timer = setInterval(() => {
      const passed = Math.min(seconds, Math.floor((performance.now() - startedMs) / 1000));
      for (; second < passed; second++) {
        const isFinal = second === seconds - 1;
        const numbers = { firstNumber: second + 1, lastNumber: second + 1, droppedReports: 0 };
        const report = reportOf(name, doing, second, script, isFinal);
        send({ kind: "report", runId, stint, ...numbers, report, watch: null, isFinal });
      }
      if (second === seconds) stop();
    }, TICK_MS);
  };
  socket.on("message", (data) => {
    const message = parseAs(ControllerMessageSchema, JSON.parse(String(data)), "MESSAGE_INVALID", "The message");
    if (message.kind === "prepare") {
      task = message.task;
      send({ kind: "prepared", runId: message.runId, clock: { offsetNs: 0, uncertaintyNs: 2e5 } });
    } else if (message.kind === "go" && task !== null) begin(message.runId, task);
    else if (message.kind === "abort") stop();
  });
  socket.on("close", () => {
    stop();
    clearInterval(asking);
  });
  return new Promise((resolve, reject) => {
    socket.on("error", reject);
    socket.on("open", () => {
      const instance = randomBytes(8).toString("hex");
      const about = { name, key, instance, runId: null, protocol: CONTROL_PROTOCOL, version: "0.1.0" };
      send({ kind: "hello", ...about, capabilities: capabilitiesOf(name) });
      resolve(() => socket.terminate());
    });
  });
}

function reportOf(agent: string, task: AgentTask, second: number, script: Script, isFinal: boolean): IntervalReport {
  const fromNs = second * SECOND_NS;
  const toNs = fromNs + SECOND_NS;
  const joins = task.actions.filter(({ kind, atNs }) => kind === "join" && atNs < toNs);
  const unknown = null;
  return {
    fromNs,
    toNs,
    listeners: joins.map(({ streamId, atNs }) => ({
      streamId,
      receipt: receiptOf(fromNs, toNs, second, script(agent, streamId, second)),
      memberships: [
        {
          joinRequestedNs: atNs,
          firstPacketNs: unknown,
          lastPacketNs: unknown,
          leaveRequestedNs: unknown,
        },
      ],
      hostLostPackets: 0,
      socketStreams: 1,
      foreign: {
        foreignPackets: 0,
        malformedPackets: 0,
        otherRunPackets: 0,
        otherStreamPackets: 0,
        misdirectedPackets: 0,
        sources: [],
      },
    })),
    senders: [],
    host: {
      udpRcvbufErrors: unknown,
      udpInErrors: unknown,
      udp6RcvbufErrors: unknown,
      udp6InErrors: unknown,
      interfaceRxDropped: unknown,
      interfaceRxErrors: unknown,
      interfaceTxDropped: unknown,
      interfaceTxErrors: unknown,
      softnetDropped: unknown,
      linkChanges: unknown,
      wallClockSteps: unknown,
    },
    sourcesStopped: null,
    totals: isFinal ? { listeners: [], senders: [] } : null,
  };
}

const PAYLOAD_BYTES = 1316;

function receiptOf(
  fromNs: number,
  toNs: number,
  second: number,
  { received, lost }: ScriptedSecond,
): StreamReceiptMessage {
  const empty = { count: 0, sum: 0, min: null, max: null, bins: [] };
  return {
    isFirst: second === 0,
    isFinal: false,
    received,
    receivedBytes: received * PAYLOAD_BYTES,
    firstCopies: received,
    duplicates: 0,
    duplicatedPackets: 0,
    latePackets: 0,
    reordered: 0,
    reorderExtentSum: 0,
    reorderExtentMax: 0,
    reorderLateMaxNs: 0,
    lost,
    hostDrops: 0,
    hostLost: 0,
    lossPeriods: lost,
    longestLossPeriod: Math.min(1, lost),
    longestGap: lost === 0 ? null : { startNs: fromNs, durationNs: 12e6 },
    longestSilence: null,
    firstArrivalNs: received === 0 ? null : fromNs,
    lastArrivalNs: received === 0 ? null : toNs,
    spans: [],
    spansOmitted: 0,
    jitterNs: received === 0 ? null : 40_000,
    jitterMaxNs: received === 0 ? null : 90_000,
    pdvNs: empty,
    delayFactorMaxNs: null,
    mediaLossMaxPps: null,
    ttlMin: null,
    ttlMax: null,
    dscpSeen: [],
    senderRestarts: 0,
    otherSenderPackets: 0,
  };
}

const capabilitiesOf = (name: string): AgentCapabilities => ({
  sockets: "linux",
  platform: "linux",
  osRelease: "scripted",
  architecture: "x64",
  nodeVersion: process.version,
  kernelTimestamps: true,
  hostLossCount: true,
  ttlSeen: true,
  dscpSeen: true,
  destinationSeen: true,
  ssm: true,
  ipv6: true,
  watcher: false,
  interface: {
    name: "eth0",
    index: 2,
    ipv4: `192.0.2.${(hashOf(name) % 250) + 1}`,
    ipv6: [],
    mac: null,
    mtuBytes: 1500,
    speedBps: 1e9,
    isUp: true,
    isWireless: false,
  },
  receiveBufferBytes: 1_000_000,
  guards: { ...DEFAULT_GUARDS, allowSending: true },
});

const hashOf = (text: string): number =>
  [...text].reduce((hash, letter) => (hash * 31 + letter.charCodeAt(0)) >>> 0, 7);
