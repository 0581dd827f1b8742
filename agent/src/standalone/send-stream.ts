import { randomBytes } from "node:crypto";
import { type AgentTask, Fault, formatCount, formatRateBps, type Guards, type IntervalReport } from "@dyetrace/wire";
import type { DataPlane } from "../data-plane/data-plane.ts";
import { openDataPlane } from "../data-plane/open-data-plane.ts";
import { refuseTask } from "../guards/guards.ts";
import { cautions } from "./cautions.ts";
import { lookForUse } from "./look-for-use.ts";
import { describeSent, sentLine } from "./sent-line.ts";

export interface SendStreamOptions {
  readonly group: string;
  readonly port: number;
  readonly interfaceName: string;
  readonly rateBps: number;
  readonly payloadBytes: number;
  readonly ttl: number;
  readonly dscp: number;
  readonly durationNs: number;
  readonly burstPackets: number;
  readonly guards: Guards;
  readonly contact: string;
  readonly sockets: "auto" | "linux" | "portable";
  readonly despiteTraffic: boolean;
  readonly json: boolean;
  readonly stop: AbortSignal;
}

const INTERVAL_NS = 1e9;
/** The terminal is the controller here: it is heard for as long as this process runs. */
const BEAT_MS = 500;
const HOLD_NS = 5e9;
const LEAD_NS = 50e6;

/** @returns packets sent @throws {Fault} GUARD_REFUSED, GROUP_IN_USE and what the data plane refuses */
export async function sendStream(options: SendStreamOptions): Promise<number> {
  const plane = await openDataPlane({
    interfaceName: options.interfaceName,
    guards: options.guards,
    contact: options.contact,
    sockets: options.sockets,
    drawSenderId: () => randomBytes(4).readUInt32BE(),
  });
  const beat = setInterval(() => plane.heard(), BEAT_MS);
  try {
    const task = sendTask(options);
    const { isWireless } = plane.capabilities.interface;
    for (const line of cautions(options.durationNs, options.rateBps, isWireless)) process.stderr.write(`${line}\n`);
    const refusal = refuseTask(task, options.guards);
    if (refusal !== null) throw withHint(refusal, options.guards);
    await lookFirst(plane, options);
    if (options.stop.aborted) return 0;
    return await pour(plane, task, options);
  } finally {
    clearInterval(beat);
    await plane.close();
  }
}

function withHint(refusal: Fault, guards: Guards): Fault {
  if (guards.allowSending) return refusal;
  const hint = "Add --allow-sending, or set allow-sending in this host's /etc/dyetrace/agent.yaml.";
  return new Fault(refusal.code, refusal.message, hint);
}

async function pour(plane: DataPlane, task: AgentTask, options: SendStreamOptions): Promise<number> {
  const rate = `${formatRateBps(options.rateBps)} in packets of ${options.payloadBytes} B`;
  process.stderr.write(`Sending ${rate} to ${options.group} port ${options.port} on ${options.interfaceName}\n`);
  plane.onInterval((report) => {
    const sender = report.senders[0];
    if (sender === undefined) return;
    process.stdout.write(
      `${options.json ? JSON.stringify({ kind: "interval", ...sentLine(report) }) : describeSent(report)}\n`,
    );
  });
  const last = await run(plane, task, options.stop);
  const total = last.totals?.senders[0];
  if (total === undefined) throw new Fault("AGENT_CANNOT", "The source's thread ended before its report", "Try again.");
  if (options.json) {
    process.stdout.write(`${JSON.stringify({ kind: "summary", ...total, stopped: last.sourcesStopped })}\n`);
  } else {
    const why = last.sourcesStopped?.why === "aborted" ? "stopped by hand" : "done";
    const { enobufs, eagain, other } = total.sendErrors;
    const errors = enobufs + eagain + other;
    const skipped =
      total.skippedPackets === 0 ? "" : `, ${total.skippedPackets} skipped because this host came too late`;
    const failed =
      errors === 0 ? "" : `, ${errors} send errors${total.lastError === null ? "" : ` (${total.lastError})`}`;
    process.stdout.write(
      `${why}: ${formatCount(total.sentPackets)} packets, ${formatCount(total.sentBytes)} B${skipped}${failed}\n`,
    );
  }
  return total.sentPackets;
}

/** Nobody should hear a test on a group that somebody uses. @throws {Fault} GROUP_IN_USE */
async function lookFirst(plane: DataPlane, options: SendStreamOptions): Promise<void> {
  const stream = { group: options.group, port: options.port, streamId: 0 };
  const listen = (forNs: number): Promise<IntervalReport> =>
    run(plane, { ...sendTask(options), actions: [{ atNs: 0, kind: "join", streamId: 0 }], endNs: forNs }, options.stop);
  const inUse = await lookForUse(stream, { interfaceName: options.interfaceName, listen });
  if (inUse === null || options.despiteTraffic || options.stop.aborted) return;
  throw new Fault(
    "GROUP_IN_USE",
    inUse,
    "Nothing was sent. Choose another group, or add --despite-traffic if that traffic may be disturbed.",
  );
}

async function run(plane: DataPlane, task: AgentTask, stop: AbortSignal): Promise<IntervalReport> {
  const abort = (): void => plane.abort("stopped at the terminal");
  await plane.prepare(task);
  stop.addEventListener("abort", abort, { once: true });
  try {
    plane.go(Number(process.hrtime.bigint()) + LEAD_NS);
    if (stop.aborted) abort();
    return await plane.finish();
  } finally {
    stop.removeEventListener("abort", abort);
  }
}

function sendTask(options: SendStreamOptions): AgentTask {
  return {
    runId: randomBytes(8).toString("hex"),
    streams: [
      {
        streamId: 0,
        name: "the stream",
        group: options.group,
        port: options.port,
        ssmSource: null,
        rateBps: options.rateBps,
        payloadBytes: options.payloadBytes,
        ttl: options.ttl,
        dscp: options.dscp,
        burstPackets: options.burstPackets,
      },
    ],
    actions: [
      { atNs: 0, kind: "emit", streamId: 0 },
      { atNs: options.durationNs, kind: "stop", streamId: 0 },
    ],
    endNs: options.durationNs,
    intervalNs: INTERVAL_NS,
    holdNs: HOLD_NS,
  };
}
